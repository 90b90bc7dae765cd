/* Tables of limits by hand. */
#include <layshaft/signal.h>

#include "support/cmocka_all.h"

#include <string.h>

static lay_status parse(const char *text, lay_limit_table *out, lay_error *err) {
    return lay_limit_table_parse(text, strlen(text), "limits.csv", out, err);
}

static void test_rows(void **state) {
    (void)state;
    lay_limit_table t;
    lay_error err = {0};
    assert_int_equal(parse("Part;gear;load;limit_db\nthird pair;3;drive;82.5\n# a note\nheadset;;;90\n", &t, &err),
                     LAY_OK);
    assert_int_equal(t.count, 2);
    assert_string_equal(t.rows[0].part, "third pair");
    assert_string_equal(t.rows[0].gear, "3");
    assert_int_equal(t.rows[0].load, LAY_LOAD_DRIVE);
    assert_true(t.rows[0].limit_db == 82.5);
    assert_int_equal(t.rows[0].line, 2);
    assert_int_equal(t.rows[1].load, LAY_LOAD_UNKNOWN);
    assert_string_equal(t.rows[1].gear, "");
    lay_limit_table_free(&t);
}

static void test_refused(void **state) {
    (void)state;
    static const struct {
        const char *text, *words;
        int line, column;
    } cases[] = {
        {"part,gear\na,1\n", "needs the columns", 0, 0},
        {"part,limit_db\n", "holds no limit", 0, 0},
        {"", "needs the columns", 0, 0},
        {"part,limit_db\nheadset,loud\n", "a limit is a level in dB", 2, 9},
        {"part,limit_db\n,80\n", "the name of a part is missing", 2, 1},
        {"part,load,limit_db\nheadset,sideways,80\n", "a load is one of", 2, 9},
        {"part,limit_db\nheadset,9999\n", "a limit is a level in dB", 2, 9},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lay_limit_table t;
        lay_error err = {0};
        assert_int_equal(parse(cases[i].text, &t, &err), LAY_BAD_INPUT);
        if (!strstr(err.message, cases[i].words)) fail_msg("case %zu: %s", i, err.message);
        assert_int_equal(err.line, cases[i].line);
        assert_int_equal(err.column, cases[i].column);
        assert_null(t.rows);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_rows), cmocka_unit_test(test_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
