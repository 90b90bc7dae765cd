/* Before and after on simulated pairs whose change is known, and what is refused. */
#include <layshaft/judge.h>
#include <layshaft/report.h>
#include <layshaft/sim.h>

#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

typedef struct side {
    lay_job job;
    lay_measured measured;
} side;

static int third_pair(const lay_unit *unit) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (strcmp(unit->meshes[m].name, "third pair") == 0) return (int)m;
    fail_msg("the unit has no third pair");
    return -1;
}

static void make_side(const char *name, uint64_t occasion, double louder_db, side *out) {
    lay_error err = {0};
    lay_unit *unit;
    char folder[600];
    snprintf(folder, sizeof folder, "%s", scratch_path(name));
    if (lay_unit_load(LAYSHAFT_SOURCE_DIR "/recordings/units/five-speed.ini", &unit, &err) != LAY_OK)
        fail_msg("%s", err.message);
    lay_fault fault = {
        .kind = LAY_FAULT_MESH, .index = third_pair(unit), .drive = true, .coast = true, .strength_db = 14};
    lay_sim_louder louder = {fault.index, louder_db};
    lay_sim_options sim = {.seed = 31,
                           .occasion = occasion,
                           .world = LAY_WORLD_STAND,
                           .tach = true,
                           .rate = 16000,
                           .seconds = 9,
                           .faults = &fault,
                           .fault_count = 1,
                           .louder = &louder,
                           .louder_count = 1};
    if (lay_sim_job(folder, unit, &sim, NULL, NULL, &err) != LAY_OK) fail_msg("%s", err.message);
    lay_unit_free(unit);
    if (lay_job_load(folder, &out->job, &err) != LAY_OK) fail_msg("%s", err.message);
    if (lay_measure(out->job.unit, &out->job.table, 1, NULL, NULL, &out->measured, &err) != LAY_OK)
        fail_msg("%s", err.message);
}

static void free_side(side *s) {
    lay_measured_free(&s->measured);
    lay_job_free(&s->job);
}

static const lay_part_change *part_of(const lay_comparison *x, const char *name) {
    for (size_t p = 0; p < x->part_count; p++)
        if (strcmp(x->parts[p].part, name) == 0) return &x->parts[p];
    fail_msg("no part '%s'", name);
    return NULL;
}

static side sides[3]; /* as it was; 5 dB quieter; another day without a change */

static int make_sides(void **state) {
    scratch_setup(state);
    make_side("before", 0, 0, &sides[0]);
    make_side("quieter", 1, -5, &sides[1]);
    make_side("same", 2, 0, &sides[2]);
    return 0;
}

static int free_sides(void **state) {
    for (int k = 0; k < 3; k++) free_side(&sides[k]);
    return scratch_teardown(state);
}

static void test_known_change(void **state) {
    (void)state;
    lay_comparison x;
    lay_error err = {0};
    if (lay_compare(&sides[0].measured, &sides[1].measured, LAY_MATCH_NONE, &x, &err) != LAY_OK)
        fail_msg("%s", err.message);
    const lay_part_change *p = part_of(&x, "third pair");
    print_message("true -5 dB: %.2f (%.2f to %.2f)\n", p->change.db, p->change.low_db, p->change.high_db);
    assert_true(p->change.low_db <= -5 && p->change.high_db >= -5);
    assert_true(p->change.high_db - p->change.low_db < 5);
    assert_int_equal(p->verdict, LAY_BETTER);
    assert_int_equal(x.verdict, LAY_BETTER);
    assert_non_null(strstr(x.summary, "third pair"));
    assert_true(p->line_count > 0 && p->course.count > 3);
    assert_true(p->before_db > p->after_db);
    lay_comparison_free(&x);
}

/* A job against itself has not changed at all, and what is only scatter is not called a change. */
static void test_no_change(void **state) {
    (void)state;
    for (int k = 0; k < 2; k++) {
        lay_comparison x;
        lay_error err = {0};
        const side *after = k == 0 ? &sides[0] : &sides[2];
        assert_int_equal(lay_compare(&sides[0].measured, &after->measured, LAY_MATCH_NONE, &x, &err), LAY_OK);
        assert_int_equal(x.verdict, LAY_SAME);
        assert_int_equal(part_of(&x, "third pair")->verdict, LAY_SAME);
        for (size_t p = 0; p < x.part_count && k == 0; p++)
            if (x.parts[p].change.before) assert_true(fabs(x.parts[p].change.db) < 1e-9);
        lay_comparison_free(&x);
    }
}

/* What was not measured in a band is marked so in all that is said of it, and never counts as silence. */
static void test_unmeasured_bands(void **state) {
    (void)state;
    size_t gaps = 0;
    for (int k = 0; k < 3; k++)
        for (size_t i = 0; i < sides[k].measured.loudness.count; i++) {
            const lay_loud_condition *c = &sides[k].measured.loudness.conditions[i];
            for (size_t l = 0; l < c->line_count; l++)
                for (size_t b = 0; b < c->bands; b++) {
                    gaps += c->looks[b] > 0 && isnan(c->lines[l].power[b]);
                    assert_int_equal(isnan(c->lines[l].power[b]), isnan(c->lines[l].variance[b]));
                }
        }
    assert_true(gaps > 0); /* the stand has tones fixed in Hz, and orders beyond the rate */
}

/* Before and after exchanged: the same change the other way round. */
static void test_symmetric(void **state) {
    (void)state;
    lay_comparison x, y;
    lay_error err = {0};
    assert_int_equal(lay_compare(&sides[0].measured, &sides[1].measured, LAY_MATCH_NONE, &x, &err), LAY_OK);
    assert_int_equal(lay_compare(&sides[1].measured, &sides[0].measured, LAY_MATCH_NONE, &y, &err), LAY_OK);
    const lay_change *a = &part_of(&x, "third pair")->change, *b = &part_of(&y, "third pair")->change;
    assert_true(fabs(a->db + b->db) < 0.05);
    assert_true(fabs(a->low_db + b->high_db) < 0.1);
    assert_int_equal(y.verdict, LAY_WORSE);
    lay_comparison_free(&x);
    lay_comparison_free(&y);
}

static void test_trend(void **state) {
    (void)state;
    lay_measured jobs[3] = {sides[0].measured, sides[2].measured, sides[1].measured};
    const char *names[] = {"new", "two hours", "five hours"};
    lay_trend t;
    lay_text text = {0};
    lay_error err = {0};
    assert_int_equal(lay_trend_find(jobs, names, 2, LAY_MATCH_NONE, &t, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_trend_find(jobs, names, 3, LAY_MATCH_NONE, &t, &err), LAY_OK);
    bool found = false;
    for (size_t p = 0; p < t.part_count; p++) {
        if (strcmp(t.parts[p].part, "third pair") != 0) continue;
        found = true;
        assert_true(fabs(t.parts[p].since_first[0].db) < 2);
        assert_true(t.parts[p].since_first[1].db < -3);
        assert_int_equal(t.parts[p].course, LAY_FALLING);
    }
    assert_true(found);
    assert_int_equal(lay_report_trend_text(&t, false, 80, &text), LAY_OK);
    assert_non_null(strstr(text.text, "still falling"));
    lay_text_free(&text);
    lay_trend_free(&t);
}

/* What is no evidence is refused with a reason. */
static void test_refused(void **state) {
    (void)state;
    lay_comparison x;
    lay_error err = {0};
    lay_measured other = sides[1].measured;
    lay_unit renamed = *other.unit;
    char name[] = "Another box";
    renamed.name = name;
    other.unit = &renamed;
    assert_int_equal(lay_compare(&sides[0].measured, &other, LAY_MATCH_NONE, &x, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "different units"));
    other = sides[1].measured;
    other.loudness.count = 0;
    assert_int_equal(lay_compare(&sides[0].measured, &other, LAY_MATCH_NONE, &x, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "can be measured"));
    lay_baseline *b = lay_baseline_new();
    lay_verification v;
    assert_int_equal(lay_baseline_add(b, &sides[0].measured, "one", &err), LAY_OK);
    assert_int_equal(lay_baseline_add(b, &sides[2].measured, "one", &err), LAY_BAD_INPUT);
    assert_int_equal(lay_verify(b, &sides[1].measured, &v, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "1 good unit:"));
    other = sides[1].measured;
    other.unit = &renamed;
    assert_int_equal(lay_baseline_fits(b, &other, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "the baseline is of"));
    lay_baseline_free(b);
}

/* Limits by hand: level against limit in every gear and load that a row is about. */
static void test_by_hand(void **state) {
    (void)state;
    lay_limit_table t;
    lay_verification v;
    lay_error err = {0};
    assert_int_equal(lay_limit_table_parse("part,limit_db\nno such,80\n", 25, "limits.csv", &t, &err), LAY_OK);
    assert_int_equal(lay_verify_by_hand(&t, &sides[0].measured, &v, &err), LAY_BAD_INPUT);
    assert_int_equal(err.line, 2);
    lay_limit_table_free(&t);
    static const char rows[] =
        "part,gear,load,limit_db\nthird pair,,,250\nthird pair,3,drive,-250\nheadset,R,drive,90\n";
    assert_int_equal(lay_limit_table_parse(rows, strlen(rows), "limits.csv", &t, &err), LAY_OK);
    assert_int_equal(lay_verify_by_hand(&t, &sides[0].measured, &v, &err), LAY_OK);
    assert_int_equal(v.part_count, 3);
    assert_true(v.parts[0].pass && v.parts[0].tested);
    assert_true(!v.parts[1].pass && v.parts[1].tested);
    assert_false(v.parts[2].tested);
    assert_false(v.pass);
    assert_true(fabs(v.parts[1].margin_db - (-250 - v.parts[1].rise_db)) < 1e-9);
    lay_verification_free(&v);
    lay_limit_table_free(&t);
}

/* The page holds what the text says, and names never run. */
static void test_page(void **state) {
    (void)state;
    lay_comparison x;
    lay_error err = {0}, missing = {0};
    char folder[600], page[700], *html = NULL;
    size_t length;
    snprintf(folder, sizeof folder, "%s", scratch_path("page"));
    assert_int_equal(lay_compare(&sides[0].measured, &sides[1].measured, LAY_MATCH_NONE, &x, &err), LAY_OK);
    lay_compared c = {&x, &sides[0].measured, &sides[1].measured, "<script>alert(1)</script>", "after"};
    lay_compare_options o = {.folder = folder};
    if (lay_report_compare_write(&c, NULL, &o, &missing, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(missing.code, LAY_OK);
    snprintf(page, sizeof page, "%s/compare.html", folder);
    assert_int_equal(lay_read_file(page, 1 << 22, &html, &length, &err), LAY_OK);
    assert_null(strstr(html, "<script"));
    assert_non_null(strstr(html, "third pair"));
    assert_non_null(strstr(html, "certifies nothing"));
    free(html);
    lay_comparison_free(&x);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_known_change),     cmocka_unit_test(test_no_change), cmocka_unit_test(test_symmetric),
        cmocka_unit_test(test_unmeasured_bands), cmocka_unit_test(test_trend),     cmocka_unit_test(test_refused),
        cmocka_unit_test(test_by_hand),          cmocka_unit_test(test_page),
    };
    return cmocka_run_group_tests(tests, make_sides, free_sides);
}
