/* Characters, columns and cleaning of text nobody vouches for. */
#include "report/utf8.h"
#include "support/cmocka_all.h"

#include <string.h>

static void decodes(const char *bytes, uint32_t code, size_t length) {
    uint32_t found;
    assert_int_equal(lay_utf8_next(bytes, &found), length);
    assert_int_equal(found, code);
}

/* Examples of RFC 3629, section 7, and the sequences its sections 3 and 10 forbid. */
static void test_rfc3629(void **state) {
    (void)state;
    decodes("A", 0x41, 1);
    decodes("\xE2\x89\xA2", 0x2262, 3);
    decodes("\xCE\x91", 0x0391, 2);
    decodes("\xED\x95\x9C", 0xD55C, 3);
    decodes("\xF0\xA3\x8E\xB4", 0x233B4, 4);
    decodes("\xC0\x80", 0xFFFD, 1);         /* overlong NUL */
    decodes("\xED\xA1\x8C", 0xFFFD, 1);     /* surrogate */
    decodes("\xF4\x90\x80\x80", 0xFFFD, 1); /* beyond U+10FFFF */
    decodes("\x80", 0xFFFD, 1);
    decodes("\xE2\x89", 0xFFFD, 1); /* cut short by the final 0 */
    decodes("", 0, 0);
}

/* Unicode Standard Annex 11: Hangul and Han are wide; combining marks take no column. */
static void test_columns(void **state) {
    (void)state;
    assert_int_equal(lay_utf8_columns("third gear"), 10);
    assert_int_equal(lay_utf8_columns("Z\xC3\xA4hne"), 5);
    assert_int_equal(lay_utf8_columns("\xED\x95\x9C\xED\x95\x9C"), 4);
    assert_int_equal(lay_utf8_columns("e\xCC\x81"), 1);
}

static void cleans(const char *from, const char *to) {
    lay_text out = {0};
    lay_text_add(&out, "%s", "");
    lay_utf8_clean(&out, from);
    assert_string_equal(out.text, to);
    lay_text_free(&out);
}

static void test_clean(void **state) {
    (void)state;
    cleans(NULL, "");
    cleans("third pair", "third pair");
    cleans("a\033[2Jb", "a\xEF\xBF\xBD[2Jb");
    cleans("a\nb\tc", "a b c");
    cleans("x\xE2\x80\xAEy", "x\xEF\xBF\xBDy"); /* right-to-left override */
    cleans("\xC2\x9B"
           "31m",
           "\xEF\xBF\xBD"
           "31m"); /* control sequence introducer of the 8-bit set */
    cleans("\xFF", "\xEF\xBF\xBD");
}

static void fits(const char *from, int columns, const char *to) {
    lay_text out = {0};
    lay_utf8_fit(&out, from, columns);
    assert_string_equal(out.text, to);
    lay_text_free(&out);
}

static void test_fit(void **state) {
    (void)state;
    fits("headset", 7, "headset");
    fits("recording-of-third-gear.wav", 15, "record...ar.wav");
    fits("\xED\x95\x9C\xED\x95\x9C\xED\x95\x9C\xED\x95\x9C", 7, "\xED\x95\x9C...\xED\x95\x9C");
    lay_text out = {0};
    lay_utf8_cell(&out, "\xED\x95\x9C", 5);
    assert_string_equal(out.text, "\xED\x95\x9C   ");
    lay_text_free(&out);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_rfc3629), cmocka_unit_test(test_columns),
                                       cmocka_unit_test(test_clean), cmocka_unit_test(test_fit)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
