/* Verdicts against findings: what confirms, what refutes, what leaves it open. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static lay_ledger ledger_of(const char *rows) {
    char text[600];
    lay_found_table t;
    lay_error err = {0};
    lay_ledger l = {0};
    snprintf(text, sizeof text, "part,what,outcome,named,probability,state\n%s", rows);
    if (lay_found_parse(text, strlen(text), "found.csv", &t, &err) != LAY_OK) fail_msg("%s", err.message);
    lay_ledger_add(&l, &t);
    lay_found_free(&t);
    assert_int_equal(l.jobs, 1);
    return l;
}

static void test_jobs(void **state) {
    (void)state;
    static const struct {
        const char *rows;
        int attention, right, outside, outside_right, clear, clear_right, undecided, inconclusive, unjudged;
    } cases[] = {
        {"a,teeth,attention,first,0.95,suspect\n", 1, 1, 0, 0, 0, 0, 0, 0, 0},
        {"a,teeth,attention,twin,0.95,open\n", 1, 1, 0, 0, 0, 0, 0, 0, 0},
        {"a,teeth,attention,listed,0.2,open\n", 1, 0, 0, 0, 0, 0, 0, 0, 0},
        {"a,good,attention,first,0.9,suspect\n", 1, 0, 0, 0, 0, 0, 0, 0, 0},
        {"b,good,attention,no,,cleared\n", 0, 0, 0, 0, 0, 0, 1, 0, 0},
        {"a,good,attention,first,0.6,suspect\nb,chip,attention,twin,0.6,open\n", 1, 1, 0, 0, 0, 0, 0, 0, 0},
        {"belt,outside,outside,first,0.8,\n", 0, 0, 1, 1, 0, 0, 0, 0, 0},
        {"a,teeth,outside,no,,untested\n", 0, 0, 1, 0, 0, 0, 0, 0, 0},
        {",good,clear,no,,\n", 0, 0, 0, 0, 1, 1, 0, 0, 0},
        {"a,outer,clear,no,,cleared\n", 0, 0, 0, 0, 1, 0, 0, 0, 0},
        {"a,outer,inconclusive,first,0.3,suspect\n", 0, 0, 0, 0, 0, 0, 0, 1, 0},
        {"a,outer,,no,,\n", 0, 0, 0, 0, 0, 0, 0, 0, 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lay_ledger l = ledger_of(cases[i].rows);
        int got[] = {l.attention.of, l.attention.right, l.outside.of,   l.outside.right, l.clear.of,
                     l.clear.right,  l.undecided,       l.inconclusive, l.unjudged};
        const int *wanted = &cases[i].attention;
        for (int k = 0; k < 9; k++)
            if (got[k] != wanted[k]) fail_msg("case %zu, count %d: %d, not %d", i, k, got[k], wanted[k]);
        lay_ledger_free(&l);
    }
}

/* Of a part that is noted twice the later row holds. */
static void test_later_row(void **state) {
    (void)state;
    lay_ledger l = ledger_of("a,good,attention,first,0.95,suspect\nb,good,attention,no,,cleared\n"
                             "A,chip,attention,first,0.95,suspect\n");
    assert_int_equal(l.attention.right, 1);
    assert_int_equal(l.kinds[LAY_FOUND_GOOD].found, 1);
    assert_int_equal(l.kinds[LAY_FOUND_GOOD].cleared, 1);
    assert_int_equal(l.kinds[LAY_FOUND_CHIP].first, 1);
    assert_int_equal(l.bins[0].of, 1);
    assert_int_equal(l.bins[0].right, 1);
    lay_ledger_free(&l);
    l = ledger_of("a,chip,attention,first,0.95,suspect\na,good,attention,first,0.95,suspect\n");
    assert_int_equal(l.attention.of, 1);
    assert_int_equal(l.attention.right, 0);
    lay_ledger_free(&l);
}

static void test_folders(void **state) {
    (void)state;
    static const char table[] = "part,what,outcome,named,probability,state\na,teeth,attention,first,0.7,suspect\n";
    lay_error err = {0};
    lay_ledger l;
    assert_int_equal(mkdir(scratch_path("shop"), 0755), 0);
    assert_int_equal(mkdir(scratch_path("shop/one"), 0755), 0);
    assert_int_equal(mkdir(scratch_path("shop/.trash"), 0755), 0);
    scratch_text("shop/one/found.csv", table);
    scratch_text("shop/.trash/found.csv", table);
    scratch_text("shop/found.csv", "part,what\nx,nonsense\n");
    assert_int_equal(symlink("one", scratch_path("shop/again")), 0);
    assert_int_equal(lay_ledger_read(scratch_path("shop"), &l, &err), LAY_OK);
    assert_int_equal(l.jobs, 1);
    assert_int_equal(l.bins[1].of, 1);
    assert_int_equal(l.skipped.count, 1);
    assert_non_null(strstr(l.skipped.items[0], "line 2"));
    lay_ledger_free(&l);
    assert_int_equal(lay_ledger_read(scratch_path("nowhere"), &l, &err), LAY_BAD_INPUT);
    const char *const gone[] = {"shop/one/found.csv", "shop/.trash/found.csv", "shop/found.csv", "shop/again"};
    for (size_t i = 0; i < 4; i++) unlink(scratch_path(gone[i]));
    rmdir(scratch_path("shop/one"));
    rmdir(scratch_path("shop/.trash"));
    rmdir(scratch_path("shop"));
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_jobs), cmocka_unit_test(test_later_row),
                                       cmocka_unit_test(test_folders)};
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
