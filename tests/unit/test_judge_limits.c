/* Limits from good units whose levels are drawn here: how often they are passed, who stands out, what is too little. */
#include "judge/limits.h"
#include <layshaft/report.h>

#include "support/cmocka_all.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PARTS 12
#define FIRST_BAND 30
#define LAST_BAND 45

static const char *part_name(int part) {
    static char names[PARTS][16];
    snprintf(names[part], sizeof names[part], "pair %d", part + 1);
    return names[part];
}

/* A unit more: every part differs from the others of its build by a normal deviation, every line by half of that. */
static void add_unit(lay_baseline *b, lay_random *r, double spread_db, int loud_part, double louder_db) {
    static const lay_load loads[] = {LAY_LOAD_DRIVE, LAY_LOAD_COAST};
    lay_error err = {0};
    char name[16];
    snprintf(name, sizeof name, "unit %zu", b->unit_count);
    assert_int_equal(lay_baseline_grow(b, name, &err), LAY_OK);
    size_t unit = b->unit_count - 1;
    for (int p = 0; p < PARTS; p++) {
        double of_part = spread_db * lay_random_normal(r) + (p == loud_part ? louder_db : 0);
        for (int c = 0; c < 2; c++) {
            lay_baseline_condition *condition = lay_baseline_condition_at(b, "3", loads[c], &err);
            for (int h = 1; h <= 3; h++) {
                lay_baseline_line like = {
                    .part = (char *)(uintptr_t)part_name(p), .harmonic = h, .wheel = -1, .loaded = true};
                lay_baseline_line *line = lay_baseline_line_at(b, condition, &like, &err);
                double of_line = 0.5 * spread_db * lay_random_normal(r);
                assert_non_null(line);
                line->own[unit] = true;
                for (int k = FIRST_BAND; k <= LAST_BAND;
                     k++) /* a course over speed that all share, and a little noise */
                    line->levels[unit * LAY_BASELINE_BANDS + (size_t)k] = (lay_baseline_level){
                        80 - 6 * h + 4 * sin(0.7 * k + p) + of_part + of_line + 0.3 * lay_random_normal(r), 40, 8};
            }
        }
    }
}

static lay_baseline *good_units(lay_random *r, int count, double spread_db) {
    lay_baseline *b = lay_baseline_new();
    assert_non_null(b);
    for (int u = 0; u < count; u++) add_unit(b, r, spread_db, -1, 0);
    return b;
}

/* The last unit against the others. */
static bool rejected(const lay_baseline *b) {
    bool *used = calloc(b->unit_count, sizeof *used);
    lay_rises rises;
    lay_limit *limits = NULL;
    lay_error err = {0};
    double margin;
    for (size_t u = 0; u + 1 < b->unit_count; u++) used[u] = true;
    assert_int_equal(lay_rises_find(b, used, b->unit_count - 1, &rises, &err), LAY_OK);
    assert_int_equal(lay_limits_of(&rises, &limits, &err), LAY_OK);
    size_t worst = lay_limits_worst(b, &rises, limits, b->unit_count - 1, NULL, &margin);
    assert_true(worst < rises.count);
    lay_rises_free(&rises);
    free(limits);
    free(used);
    return margin < 0;
}

/* Ten good units with a spread of 1 dB: a good one surpasses a limit in less than 2 of 100 (8 or more of 150 would be
 * seen in one of 100 runs of this test at 2 %), one that is 7 dB louder practically always. */
static void test_shares(void **state) {
    (void)state;
    lay_random r;
    int good = 0, loud = 0;
    lay_random_seed(&r, 5);
    for (int trial = 0; trial < 200; trial++) {
        lay_baseline *b = good_units(&r, 10, 1.0);
        bool louder = trial % 4 == 3;
        add_unit(b, &r, 1.0, louder ? trial % PARTS : -1, 7.0);
        (louder ? (loud += rejected(b)) : (good += rejected(b)));
        lay_baseline_free(b);
    }
    print_message("good units rejected: %d of 150; louder ones: %d of 50\n", good, loud);
    assert_in_range(good, 0, 7);
    assert_in_range(loud, 48, 50);
}

/* A good unit that is 12 dB louder in one part is named and left out; the limits are then those without it. */
static void test_odd_unit(void **state) {
    (void)state;
    lay_random r;
    lay_limits with, without;
    lay_error err = {0};
    lay_random_seed(&r, 9);
    lay_baseline *b = good_units(&r, 9, 0.8);
    assert_int_equal(lay_limits_find(b, &without, &err), LAY_OK);
    assert_int_equal(without.used_count, 9);
    add_unit(b, &r, 0.8, 4, 12);
    assert_int_equal(lay_limits_find(b, &with, &err), LAY_OK);
    assert_int_equal(with.used_count, 9);
    assert_false(with.used[9]);
    assert_non_null(with.odd[9]);
    assert_non_null(strstr(with.odd[9], part_name(4)));
    for (size_t i = 0; i < with.count; i++)
        if (!isnan(with.items[i].limit_db))
            assert_true(fabs(with.items[i].limit_db - without.items[i].limit_db) < 1e-9);
    lay_limits_free(&with);
    lay_limits_free(&without);
    lay_baseline_free(b);
}

/* More units, sharper limits; two are too few. */
static void test_number(void **state) {
    (void)state;
    lay_random r;
    lay_limits few, many;
    lay_error err = {0};
    lay_random_seed(&r, 2);
    lay_baseline *b = good_units(&r, 2, 1);
    assert_int_equal(lay_limits_find(b, &few, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "2 good units: 3 are needed"));
    add_unit(b, &r, 1, -1, 0);
    assert_int_equal(lay_limits_find(b, &few, &err), LAY_OK);
    for (int u = 3; u < 14; u++) add_unit(b, &r, 1, -1, 0);
    assert_int_equal(lay_limits_find(b, &many, &err), LAY_OK);
    assert_true(many.median_db < few.median_db);
    lay_limits_free(&few);
    lay_limits_free(&many);
    lay_baseline_free(b);
}

/* Written, read and written again it is the same file; broken ones are refused and leave nothing. */
static void test_file(void **state) {
    (void)state;
    lay_random r;
    lay_text first = {0}, second = {0};
    lay_baseline *again = NULL;
    lay_error err = {0};
    lay_random_seed(&r, 3);
    lay_baseline *b = good_units(&r, 4, 1);
    b->unit = lay_strdup("Bench five-speed");
    b->conditions[0].lines[0].levels[LAY_BASELINE_BANDS + FIRST_BAND + 2].level_db = NAN; /* a gap */
    assert_int_equal(lay_report_baseline_file(b, &first), LAY_OK);
    if (lay_report_baseline_parse(first.text, first.length, "b.json", &again, &err) != LAY_OK)
        fail_msg("%s", err.message);
    assert_int_equal(again->unit_count, 4);
    assert_string_equal(again->units[3], "unit 3");
    assert_true(isnan(again->conditions[0].lines[0].levels[LAY_BASELINE_BANDS + FIRST_BAND + 2].level_db));
    assert_int_equal(lay_report_baseline_file(again, &second), LAY_OK);
    lay_baseline_free(again);
    assert_int_equal(lay_report_baseline_parse(second.text, second.length, "b.json", &again, &err), LAY_OK);
    lay_text_free(&first); /* what is written is rounded: from then on it stays as it is */
    assert_int_equal(lay_report_baseline_file(again, &first), LAY_OK);
    assert_string_equal(first.text, second.text);
    lay_baseline_free(again);
    for (size_t cut = 0; cut < first.length; cut += first.length / 60 + 1) {
        assert_int_equal(lay_report_baseline_parse(first.text, cut, "b.json", &again, &err), LAY_BAD_INPUT);
        assert_null(again);
    }
    static const char *const wrong[] = {"{}", "[]", "{\"kind\":\"baseline\",\"unit\":\"x\",\"format\":2}",
                                        "{\"kind\":\"baseline\",\"unit\":\"x\",\"format\":3}"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        assert_int_equal(lay_report_baseline_parse(wrong[i], strlen(wrong[i]), "b.json", &again, &err), LAY_BAD_INPUT);
    lay_text_free(&first);
    lay_text_free(&second);
    lay_baseline_free(b);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_shares), cmocka_unit_test(test_odd_unit),
                                       cmocka_unit_test(test_number), cmocka_unit_test(test_file)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
