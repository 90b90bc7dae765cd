#include <layshaft/base.h>
#include <support/cmocka_all.h>

#include <string.h>

static void every_status_has_a_sentence_and_an_exit_status(void **state) {
    (void)state;
    for (int s = 0; s < LAY_STATUS_COUNT; s++) {
        assert_true(strlen(lay_status_text((lay_status)s)) > 3);
        int code = lay_status_exit((lay_status)s);
        assert_true(s == LAY_OK ? code == 0 : code == 2 || code == 3);
    }
    /* a status from nowhere must still not look like success */
    assert_true(lay_status_exit((lay_status)999) != 0);
    assert_non_null(lay_status_text((lay_status)-1));
}

static void failing_returns_its_code_and_keeps_the_sentence(void **state) {
    (void)state;
    lay_error err;
    memset(&err, 0x55, sizeof err);
    assert_int_equal(lay_fail(&err, LAY_IO, "no %s in %d", "oil", 5), LAY_IO);
    assert_int_equal(err.code, LAY_IO);
    assert_string_equal(err.message, "no oil in 5");
    assert_string_equal(err.file, "");
    assert_int_equal(err.line, 0);
    assert_int_equal(lay_fail(NULL, LAY_BAD_INPUT, "nobody listens"), LAY_BAD_INPUT);
    assert_int_equal(lay_fail_at(NULL, LAY_BAD_INPUT, "f", 1, 1, 1, "x", "nobody"), LAY_BAD_INPUT);
}

static void an_error_may_be_built_from_itself(void **state) {
    (void)state;
    lay_error err;
    lay_fail_file(&err, LAY_IO, "a.ini", "first");
    lay_fail_file(&err, LAY_BAD_INPUT, err.file, "then: %s", err.message);
    assert_string_equal(err.message, "then: first");
}

static void long_texts_are_cut_between_characters(void **state) {
    (void)state;
    char text[2000];
    for (size_t i = 0; i + 2 < sizeof text; i += 2) memcpy(text + i, "\xC3\xA4", 3);
    lay_error err;
    lay_fail(&err, LAY_IO, "x%s", text);
    size_t length = strlen(err.message);
    assert_true(length < sizeof err.message && length >= sizeof err.message - 3);
    assert_int_equal((unsigned char)err.message[length - 1], 0xA4);
    lay_fail_file(&err, LAY_IO, text, "m");
    assert_int_equal((unsigned char)err.file[strlen(err.file) - 1], 0xA4);
}

static void a_place_is_shown_with_a_caret(void **state) {
    (void)state;
    lay_error err;
    char out[600];
    lay_fail_at(&err, LAY_BAD_INPUT, "unit.ini", 7, 10, 5, "driver = shaft, 23\nnext line", "no body '%s'", "shaft");
    lay_error_format(&err, out, sizeof out);
    assert_string_equal(out, "unit.ini:7:10: no body 'shaft'\n"
                             "    driver = shaft, 23\n"
                             "             ^~~~~\n");
}

static void the_caret_counts_characters_and_keeps_tabs(void **state) {
    (void)state;
    lay_error err;
    char out[600];
    lay_fail_at(&err, LAY_BAD_INPUT, "u", 1, 5, 0, "\t\xC3\xA4=x", "bad");
    lay_error_format(&err, out, sizeof out);
    assert_string_equal(out, "u:1:5: bad\n    \t\xC3\xA4=x\n    \t  ^\n");
    lay_fail_at(&err, LAY_BAD_INPUT, "u", 1, 3, 99, "ab", "line ends too soon");
    lay_error_format(&err, out, sizeof out);
    assert_string_equal(out, "u:1:3: line ends too soon\n    ab\n      ^\n");
}

static void showing_never_overruns_nor_passes_control_characters(void **state) {
    (void)state;
    lay_error err;
    lay_fail_at(&err, LAY_BAD_INPUT, "u\x1b[2J", 1, 2, 3, "abc\x07", "mess\x1b[31mage");
    char out[600];
    lay_error_format(&err, out, sizeof out);
    assert_null(strchr(out, '\x1b'));
    assert_null(strchr(out, '\x07'));
    for (size_t size = 0; size < 60; size++) {
        memset(out, '#', sizeof out);
        lay_error_format(&err, out, size);
        assert_int_equal(out[size], '#');
        if (size > 0) assert_true(strlen(out) < size);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_status_has_a_sentence_and_an_exit_status),
        cmocka_unit_test(failing_returns_its_code_and_keeps_the_sentence),
        cmocka_unit_test(an_error_may_be_built_from_itself),
        cmocka_unit_test(long_texts_are_cut_between_characters),
        cmocka_unit_test(a_place_is_shown_with_a_caret),
        cmocka_unit_test(the_caret_counts_characters_and_keeps_tabs),
        cmocka_unit_test(showing_never_overruns_nor_passes_control_characters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
