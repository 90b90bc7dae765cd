/* Memory, growing text, numbers and near words. */
#include <layshaft/base.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <locale.h>
#include <stdlib.h>
#include <string.h>

static void allocation_notices_overflow(void **state) {
    (void)state;
    assert_null(lay_calloc(SIZE_MAX / 2, 4));
    void *none = lay_calloc(0, 8);
    assert_non_null(none);
    free(none);
    lay_error err;
    void *items = NULL;
    size_t capacity = 0;
    assert_int_equal(lay_grow(&items, &capacity, SIZE_MAX / 4, 8, &err), LAY_NO_MEMORY);
    assert_null(items);
}

static void growing_keeps_what_is_there(void **state) {
    (void)state;
    int *items = NULL;
    size_t capacity = 0;
    for (int i = 0; i < 1000; i++) {
        assert_int_equal(lay_grow((void **)&items, &capacity, (size_t)i, sizeof *items, NULL), LAY_OK);
        assert_true(capacity > (size_t)i);
        items[i] = i;
    }
    for (int i = 0; i < 1000; i++) assert_int_equal(items[i], i);
    free(items);
}

static void text_grows_by_appending(void **state) {
    (void)state;
    lay_text t = {0};
    for (int i = 0; i < 500; i++) lay_text_add(&t, "%d,", i % 10);
    assert_false(t.failed);
    assert_int_equal(t.length, 1000);
    assert_int_equal(strlen(t.text), 1000);
    assert_memory_equal(t.text + 990, "5,6,7,8,9,", 10);
    lay_text_free(&t);
    assert_null(t.text);
    lay_text_free(NULL);
}

static void an_empty_append_makes_an_empty_text(void **state) {
    (void)state;
    lay_text t = {0};
    lay_text_add(&t, "%s", "");
    assert_string_equal(t.text, "");
    lay_text_free(&t);
}

static const struct {
    const char *text;
    double value;
} good_numbers[] = {
    {"1", 1}, {" 2.5 ", 2.5}, {"-.5", -0.5}, {"+3.", 3}, {"1e3", 1000}, {"1.5E-2\n", 0.015}, {"\t0009", 9}, {"0", 0},
};

static const char *const bad_numbers[] = {"",     " ",     ".",   "1,5",  "1e",  "1e+", "nan", "inf", "-inf",
                                          "0x10", "1e999", "1 2", "1..2", "--1", "1f",  "e5",  "+",   "5 mm"};

static void check_numbers(void) {
    double value = 0.0;
    for (size_t i = 0; i < sizeof good_numbers / sizeof *good_numbers; i++) {
        if (!lay_parse_number(good_numbers[i].text, &value)) fail_msg("'%s' was refused", good_numbers[i].text);
        assert_close(value, good_numbers[i].value, 0.0, 1e-15);
    }
    for (size_t i = 0; i < sizeof bad_numbers / sizeof *bad_numbers; i++)
        if (lay_parse_number(bad_numbers[i], &value)) fail_msg("'%s' was taken for %g", bad_numbers[i], value);
}

static void numbers_fill_the_whole_text(void **state) {
    (void)state;
    check_numbers();
    char endless[1000];
    double value;
    memset(endless, '1', sizeof endless - 1);
    endless[sizeof endless - 1] = '\0';
    assert_false(lay_parse_number(endless, &value));
}

static void numbers_do_not_depend_on_the_locale(void **state) {
    (void)state;
    const char *const with_comma[] = {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "ru_RU.UTF-8"};
    bool found = false;
    for (size_t i = 0; i < 4 && !found; i++) found = setlocale(LC_NUMERIC, with_comma[i]) != NULL;
    check_numbers();
    setlocale(LC_NUMERIC, "C");
    if (!found) print_message("no locale with a decimal comma here\n");
}

static void the_meant_word_is_found(void **state) {
    (void)state;
    const char *const words[] = {"countershaft", "input shaft", "mainshaft", "lock", "driver", "driven", "ring", "rpm"};
    const size_t n = sizeof words / sizeof *words;
    assert_string_equal(lay_nearest("cuntershaft", words, n), "countershaft");
    assert_string_equal(lay_nearest("Mainshfat", words, n), "mainshaft"); /* a swap is one mistake */
    assert_string_equal(lay_nearest("DRIVEN", words, n), "driven");
    assert_string_equal(lay_nearest("lcok", words, n), "lock");
    assert_string_equal(lay_nearest("rmp", words, n), "rpm"); /* two mistakes would be too many in three letters */
    assert_null(lay_nearest("rxy", words, n));
    assert_null(lay_nearest("propeller", words, n));
    assert_null(lay_nearest("", words, n));
    assert_null(lay_nearest("x", words, n));
    char endless[500];
    memset(endless, 'a', sizeof endless - 1);
    endless[sizeof endless - 1] = '\0';
    assert_null(lay_nearest(endless, words, n));
    assert_null(lay_nearest("lock", words, 0));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(allocation_notices_overflow), cmocka_unit_test(growing_keeps_what_is_there),
        cmocka_unit_test(text_grows_by_appending),     cmocka_unit_test(an_empty_append_makes_an_empty_text),
        cmocka_unit_test(numbers_fill_the_whole_text), cmocka_unit_test(numbers_do_not_depend_on_the_locale),
        cmocka_unit_test(the_meant_word_is_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
