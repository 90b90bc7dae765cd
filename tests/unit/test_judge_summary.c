/* The sentence on top of the verdict, and which recordings are asked for. */
#include "judge/judging.h"

#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"

#include <stdlib.h>
#include <string.h>

/* A judgement made by hand: one run of third gear on drive, one hypothesis that is the only suspect. */
typedef struct made {
    lay_judging j;
    lay_verdict verdict;
    lay_run_evidence run;
    lay_hypothesis hypothesis;
    lay_score score;
    lay_suspect suspect;
    char *twin;
} made;

static void make(made *m, lay_outcome outcome, lay_kind kind, const char *part) {
    *m = (made){.hypothesis = {.kind = kind, .type = LAY_PART_BEARING}};
    evidence_make(&m->run, fixture_unit, "3", NULL, 0);
    m->run.envelope.band_count = 1;
    m->suspect = (lay_suspect){.kind = kind, .part = BORROWED(part), .probability = 0.9};
    m->verdict = (lay_verdict){.outcome = outcome, .suspects = &m->suspect, .suspect_count = 1};
    m->j =
        (lay_judging){.unit = fixture_unit, .runs = &m->run, .run_count = 1, .scores = &m->score, .out = &m->verdict};
    m->j.list = (lay_hypothesis_list){&m->hypothesis, 1, 1};
}

static void drop(made *m) {
    m->run.envelope.band_count = 0;
    lay_run_evidence_free(&m->run);
    lay_strings_free(&m->verdict.add);
    free(m->verdict.summary);
}

static const char *summary(made *m) {
    free(m->verdict.summary);
    m->verdict.summary = NULL;
    assert_int_equal(lay_judging_summarise(&m->j, NULL), LAY_OK);
    return m->verdict.summary;
}

static void assert_has(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from '%s'", words, text);
}

static void every_kind_has_its_words(void **state) {
    (void)state;
    static const struct {
        lay_kind kind;
        const char *words;
    } rows[] = {{LAY_KIND_MESH, "Gear whine in 'front'"},
                {LAY_KIND_CHIP, "A damaged tooth in 'front'"},
                {LAY_KIND_OUTER, "Damage on the outer race of bearing 'front'"},
                {LAY_KIND_INNER, "Damage on the inner race of bearing 'front'"},
                {LAY_KIND_ELEMENT, "A damaged ball or roller in bearing 'front'"},
                {LAY_KIND_CAGE, "A worn or broken cage in bearing 'front'"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        made m;
        make(&m, LAY_ATTENTION, rows[i].kind, "front");
        assert_has(summary(&m), rows[i].words);
        assert_has(m.verdict.summary, "needs attention.");
        drop(&m);
    }
}

/* Clear is said of no more than was listened to. */
static void clear_has_its_limits(void **state) {
    (void)state;
    made m;
    make(&m, LAY_CLEAR, LAY_KIND_OUTER, "front");
    assert_string_equal(summary(&m), "Nothing stands out in these recordings.");
    m.run.sensor = LAY_SENSOR_MIC;
    assert_has(summary(&m), "a microphone hears but the worst");
    m.run.envelope.band_count = 0;
    assert_has(summary(&m), "could not be looked for");
    drop(&m);
}

static void strangers_come_first(void **state) {
    (void)state;
    made m;
    make(&m, LAY_INCONCLUSIVE, LAY_KIND_OUTER, "front");
    assert_has(summary(&m), "Something may be wrong with bearing 'front'");
    m.verdict.stranger =
        (lay_stranger){.found = true, .body = lay_unit_body(fixture_unit, "mainshaft"), .times = 4.712};
    assert_has(summary(&m), "strikes 4.71 times per turn of 'mainshaft'");
    drop(&m);
}

static const char *first_wish(made *m) {
    lay_strings_free(&m->verdict.add);
    m->verdict.add = (lay_strings){0};
    assert_int_equal(lay_judging_advise(&m->j, 0, NULL), LAY_OK);
    assert_true(m->verdict.add.count > 0);
    return m->verdict.add.items[0];
}

/* The countershaft carries torque in third only, and that was recorded on drive. */
static void what_to_record(void **state) {
    (void)state;
    made m;
    make(&m, LAY_INCONCLUSIVE, LAY_KIND_OUTER, "countershaft front");
    assert_string_equal(first_wish(&m), "gear 3 on coast, 15 s, at a steady speed at which it is heard");
    assert_int_equal(m.verdict.add.count, 1);
    m.run.sensor = LAY_SENSOR_MIC;
    assert_has(first_wish(&m), "with an accelerometer on the case near 'countershaft front'");
    m.twin = BORROWED("countershaft rear");
    m.suspect.not_separable_from = (lay_strings){&m.twin, 1, 1};
    assert_has(first_wish(&m), "once near 'countershaft front' and once near 'countershaft rear'");
    m.suspect.not_separable_from.count = 0;
    m.hypothesis = (lay_hypothesis){.kind = LAY_KIND_MESH, .type = LAY_PART_MESH};
    assert_string_equal(first_wish(&m), "gear 3 on coast, 15 s, rising slowly through the speed at which it is heard");
    drop(&m);
}

/* Twins that no gear tells apart: only the place of the sensor is asked for; nobody suspected: no part is named. */
static void what_would_not_help(void **state) {
    (void)state;
    made m;
    make(&m, LAY_INCONCLUSIVE, LAY_KIND_CHIP, "third pair");
    m.hypothesis = (lay_hypothesis){.kind = LAY_KIND_CHIP, .type = LAY_PART_MESH, .index = 1};
    m.twin = BORROWED("headset");
    m.suspect.not_separable_from = (lay_strings){&m.twin, 1, 1};
    first_wish(&m);
    assert_int_equal(m.verdict.add.count, 1); /* third gear loads both, no other loads one */
    m.verdict.suspect_count = 0;
    m.run.sensor = LAY_SENSOR_MIC;
    assert_has(first_wish(&m), "gear 3 on coast, 15 s, rising slowly");
    drop(&m);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_kind_has_its_words),
                                       cmocka_unit_test(clear_has_its_limits), cmocka_unit_test(strangers_come_first),
                                       cmocka_unit_test(what_to_record), cmocka_unit_test(what_would_not_help)};
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
