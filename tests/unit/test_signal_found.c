/* The table of what teardowns showed: what goes in comes out, what stands there stays, what is wrong is told. */
#include <layshaft/signal.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static lay_found_table load(const char *path) {
    lay_found_table t;
    lay_error err = {0};
    if (lay_found_load(path, &t, &err) != LAY_OK) fail_msg("%s", err.message);
    return t;
}

static void test_round(void **state) {
    (void)state;
    char part[] = "third pair", note[] = "pitted, \"both\" wheels; 3 mm", when[] = "2026-11-27 17:00",
         outcome[] = "attention", state_[] = "suspect", body[] = "third gear";
    lay_error err = {0};
    const char *path = scratch_path("round.csv");
    lay_found_table t = load(path);
    assert_int_equal(t.count, 0);
    lay_found row = {.when = when,
                     .part = part,
                     .body = body,
                     .note = note,
                     .what = LAY_FOUND_TEETH,
                     .outcome = outcome,
                     .named = LAY_NAMED_TWIN,
                     .probability = 0.9375,
                     .state = state_};
    assert_int_equal(lay_found_add(path, &row, &err), LAY_OK);
    row = (lay_found){.what = LAY_FOUND_GOOD, .named = LAY_NAMED_NO, .probability = NAN};
    assert_int_equal(lay_found_add(path, &row, &err), LAY_OK);
    t = load(path);
    assert_int_equal(t.count, 2);
    assert_string_equal(t.rows[0].part, part);
    assert_string_equal(t.rows[0].body, body);
    assert_string_equal(t.rows[0].note, note);
    assert_string_equal(t.rows[0].when, when);
    assert_string_equal(t.rows[0].state, state_);
    assert_int_equal(t.rows[0].what, LAY_FOUND_TEETH);
    assert_int_equal(t.rows[0].named, LAY_NAMED_TWIN);
    assert_close(t.rows[0].probability, 0.9375, 0, 0);
    assert_string_equal(t.rows[1].part, "");
    assert_int_equal(t.rows[1].what, LAY_FOUND_GOOD);
    assert_true(isnan(t.rows[1].probability));
    lay_found_free(&t);
}

/* A table that somebody made by hand, with a column of his own, in any order. */
static void test_by_hand(void **state) {
    (void)state;
    lay_error err = {0};
    const char *path = scratch_text("hand.csv", "What;PART;bench\nrun-out;second pair;7\n\nGood;pilot;7\n");
    lay_found row = {.what = LAY_FOUND_CHIP, .named = LAY_NAMED_NO, .probability = NAN};
    assert_int_equal(lay_found_add(path, &row, &err), LAY_OK);
    lay_found_table t = load(path);
    assert_int_equal(t.count, 3);
    assert_int_equal(t.rows[0].what, LAY_FOUND_RUN_OUT);
    assert_int_equal(t.rows[1].what, LAY_FOUND_GOOD);
    assert_int_equal(t.rows[2].what, LAY_FOUND_CHIP);
    lay_found_free(&t);
}

static void test_wrong(void **state) {
    (void)state;
    static const struct {
        const char *text, *says;
        int line;
    } cases[] = {{"part,note\npilot,x\n", "needs the columns", 0},
                 {"part,what\npilot,broken\n", "one of good, teeth", 2},
                 {"part,what,probability\npilot,good,1.5\n", "between 0 and 1", 2},
                 {"part,what\npilot,good\n\"open,good\n", "quot", 3}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lay_found_table t;
        lay_error err = {0};
        lay_found row = {.what = LAY_FOUND_GOOD, .named = LAY_NAMED_NO, .probability = NAN};
        const char *path = scratch_text("wrong.csv", cases[i].text);
        assert_int_equal(lay_found_load(path, &t, &err), LAY_BAD_INPUT);
        assert_int_equal(t.count, 0);
        if (strstr(err.message, cases[i].says) == NULL) fail_msg("%s", err.message);
        if (cases[i].line) assert_int_equal(err.line, cases[i].line);
        assert_int_equal(lay_found_add(path, &row, &err), LAY_BAD_INPUT); /* and it stays as it is */
        char *text;
        size_t length;
        assert_int_equal(lay_read_file(path, 1000, &text, &length, &err), LAY_OK);
        assert_string_equal(text, cases[i].text);
        free(text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_round), cmocka_unit_test(test_by_hand),
                                       cmocka_unit_test(test_wrong)};
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
