/* Text inside HTML: nothing acts, nothing is lost. */
#include "report/markup.h"

#include "support/cmocka_all.h"

#include <string.h>

/* RFC 4648, section 10. */
static void test_base64(void **state) {
    (void)state;
    static const char *const pairs[][2] = {{"", ""},
                                           {"f", "Zg=="},
                                           {"fo", "Zm8="},
                                           {"foo", "Zm9v"},
                                           {"foob", "Zm9vYg=="},
                                           {"fooba", "Zm9vYmE="},
                                           {"foobar", "Zm9vYmFy"}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        lay_text out = {0};
        lay_markup_base64(&out, (const unsigned char *)pairs[i][0], strlen(pairs[i][0]));
        assert_string_equal(out.text != NULL ? out.text : "", pairs[i][1]);
        lay_text_free(&out);
    }
}

/* Longer than the pieces in which it is made: the first and last characters are those of the whole. */
static void test_long_base64(void **state) {
    (void)state;
    unsigned char bytes[1000];
    lay_text out = {0};
    for (size_t i = 0; i < sizeof bytes; i++) bytes[i] = (unsigned char)(i * 7);
    lay_markup_base64(&out, bytes, sizeof bytes);
    assert_int_equal(out.length, 4 * ((sizeof bytes + 2) / 3));
    assert_ptr_equal(strchr(out.text, '='), out.text + out.length - 2);
    lay_text_free(&out);
}

static void test_escapes(void **state) {
    (void)state;
    lay_text out = {0};
    lay_markup_text(&out, "<b>&\"'\n\x1b[31m\xff caf\xc3\xa9");
    assert_string_equal(out.text, "&lt;b&gt;&amp;&quot;&#39; \xef\xbf\xbd[31m\xef\xbf\xbd caf\xc3\xa9");
    lay_text_free(&out);
    lay_markup_format(&out, "%s: %d", "<i>", 3);
    assert_string_equal(out.text, "&lt;i&gt;: 3");
    lay_text_free(&out);
    lay_markup_text(&out, NULL);
    assert_int_equal(out.length, 0);
    lay_text_free(&out);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_base64), cmocka_unit_test(test_long_base64),
                                       cmocka_unit_test(test_escapes)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
