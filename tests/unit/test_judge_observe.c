/* What counts as seen at a predicted place: lines beside it, skirts, and the engine's own lines do not; then what kind
 * of fault the sidebands speak for, and which part a line belongs to. */
#include "judge/kinds.h"

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COUNTERSHAFT (23.0 / 36)

enum { HEADSET, THIRD };

static lay_hypothesis of_mesh(lay_kind kind, int mesh, int wheel) {
    return (lay_hypothesis){.kind = kind, .type = LAY_PART_MESH, .index = mesh, .wheel = wheel};
}

/* One hypothesis over some runs; free with lay_observations_free. */
static lay_observations observe(lay_hypothesis *h, size_t count, const lay_run_evidence *runs, size_t run_count) {
    lay_hypothesis_list list = {h, count, count};
    lay_observations o = {0};
    assert_int_equal(lay_observe(fixture_unit, &list, runs, run_count, &o, NULL), LAY_OK);
    return o;
}

static bool seen(lay_hypothesis h, const made_tone *tones, size_t count) {
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, count);
    lay_observations o = observe(&h, 1, &run, 1);
    bool valid = lay_observation_at(&o, 0, 0, 0)->valid;
    lay_observations_free(&o);
    lay_run_evidence_free(&run);
    return valid;
}

static void a_skirt_hides_what_stands_in_it(void **state) {
    (void)state;
    const made_tone alone[] = {{17.25, 25}}, beside[] = {{17.25, 25}, {17.25 + 6.0 / 64, 50}};
    assert_true(seen(of_mesh(LAY_KIND_MESH, THIRD, -1), alone, 1));
    assert_false(seen(of_mesh(LAY_KIND_MESH, THIRD, -1), beside, 2));
}

/* Six cylinders fire at orders 3, 6, ...; the headset has order 23 in every gear and carries torque in third only. What
 * fourth gear shows at 23 is then the engine's. */
static void the_engine_is_learnt_where_the_part_is_silent(void **state) {
    (void)state;
    for (int loud = 0; loud < 2; loud++) {
        const made_tone fourth[] = {{3, 50},    {6, 50},    {22, 25}, {22.5, 25},
                                    {23.5, 25}, {24.5, 25}, {25, 25}, {23, loud ? 38 : 15}};
        made_tone third[8];
        lay_run_evidence runs[3];
        memcpy(third, fourth, sizeof third);
        third[7].db = 40;
        evidence_make(&runs[0], fixture_unit, "3", third, 8);
        for (int r = 1; r < 3; r++) evidence_make(&runs[r], fixture_unit, "4", fourth, 8);
        lay_hypothesis h = of_mesh(LAY_KIND_MESH, HEADSET, -1);
        lay_observations o = observe(&h, 1, runs, 3);
        assert_true(o.loaded[0] && !o.loaded[1]);
        const lay_observation *x = lay_observation_at(&o, 0, 0, 0);
        assert_int_equal(x->valid, !loud);
        if (!loud) assert_true(x->level_db > x->tone.tnr_db - 1);
        lay_observations_free(&o);
        for (int r = 0; r < 3; r++) lay_run_evidence_free(&runs[r]);
    }
}

/* Order 12 is a firing order: no ghost can be seen there, though fourth gear is silent at 12; at 41 events per turn of
 * the countershaft one can. */
static void ghosts_stay_clear_of_firing_orders(void **state) {
    (void)state;
    const made_tone tones[] = {{3, 50}, {6, 50}, {12, 40}, {41 * COUNTERSHAFT, 40}};
    lay_hypothesis h[2] = {of_mesh(LAY_KIND_GHOST, HEADSET, 0), of_mesh(LAY_KIND_GHOST, HEADSET, 1)};
    h[0].multiple = 12;
    h[1].multiple = 41;
    lay_run_evidence runs[3];
    evidence_make(&runs[0], fixture_unit, "3", tones, 4);
    for (int r = 1; r < 3; r++) evidence_make(&runs[r], fixture_unit, "4", tones, 2);
    lay_observations o = observe(h, 2, runs, 3);
    assert_false(lay_observation_at(&o, 0, 0, 0)->valid);
    assert_true(lay_observation_at(&o, 1, 0, 0)->valid);
    lay_observations_free(&o);
    for (int r = 0; r < 3; r++) lay_run_evidence_free(&runs[r]);
}

static double ratio_of(const made_tone *tones, size_t count) {
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, count);
    lay_hypothesis h[2] = {of_mesh(LAY_KIND_MESH, THIRD, -1), of_mesh(LAY_KIND_ECCENTRIC, THIRD, 0)};
    lay_observations o = observe(h, 2, &run, 1);
    double ratio = lay_sideband_ratio(&o, 1, 0);
    lay_observations_free(&o);
    lay_run_evidence_free(&run);
    return ratio;
}

static void the_stronger_sideband_counts(void **state) {
    (void)state;
    const double low = 17.25 - COUNTERSHAFT, high = 17.25 + COUNTERSHAFT;
    const made_tone uneven[] = {{17.25, 50}, {low, 45}, {high, 40}}, chance[] = {{17.25, 50}, {low, 52}, {high, 30}};
    assert_close(ratio_of(uneven, 3), -5, 0.7, 0);
    assert_close(ratio_of(chance, 3), 30 + 8 - 50, 0.7, 0); /* one side alone is somebody else's */
    assert_true(ratio_of(uneven, 1) < -20);
}

static void sidebands_settle_the_kind(void **state) {
    (void)state;
    for (int strong = 0; strong < 2; strong++) {
        const double side = strong ? 46 : 30;
        const made_tone tones[] = {{17.25, 50}, {17.25 - COUNTERSHAFT, side}, {17.25 + COUNTERSHAFT, side}};
        lay_hypothesis h[3] = {of_mesh(LAY_KIND_MESH, THIRD, -1), of_mesh(LAY_KIND_ECCENTRIC, THIRD, 0),
                               of_mesh(LAY_KIND_ECCENTRIC, THIRD, 1)};
        lay_hypothesis_list list = {h, 3, 3};
        lay_score scores[3] = {{.observed = true, .odds = 6}, {.observed = true, .odds = 2}, {.observed = true}};
        lay_run_evidence run;
        evidence_make(&run, fixture_unit, "3", tones, 3);
        lay_observations o = observe(h, 3, &run, 1);
        lay_settle_kinds(&list, &o, NULL, scores);
        assert_int_equal(scores[1].odds > scores[0].odds, strong);
        if (strong) assert_true(scores[1].odds > scores[2].odds); /* the other wheel has no sidebands */
        lay_observations_free(&o);
        lay_run_evidence_free(&run);
    }
}

/* The double of first pair's order is that of the headset; a line that stays in third gear, where first pair idles, is
 * the headset's. */
static void an_idle_mesh_does_not_explain_a_loud_line(void **state) {
    (void)state;
    lay_unit *box = unit_of("[unit]\nname = Two of one order\ndriven by = input shaft\noutput = mainshaft\n"
                            "[mesh headset]\ndriver = input shaft, 22\ndriven = countershaft, 44\n"
                            "[mesh first pair]\ndriver = countershaft, 22\ndriven = first gear, 61\n"
                            "[mesh third pair]\ndriver = countershaft, 35\ndriven = third gear, 39\n"
                            "[gear 1]\nlock = first gear, mainshaft\n[gear 3]\nlock = third gear, mainshaft\n");
    const made_tone tones[] = {{22, 40}};
    lay_run_evidence runs[2];
    evidence_make(&runs[0], box, "1", tones, 1);
    evidence_make(&runs[1], box, "3", tones, 1);
    lay_verdict verdict = {0};
    assert_int_equal(lay_judge(box, NULL, runs, 2, &verdict, NULL), LAY_OK);
    assert_int_equal(verdict.outcome, LAY_ATTENTION);
    assert_string_equal(verdict.suspects[0].part, "headset");
    assert_true(verdict.suspects[0].probability > 0.9);
    lay_verdict_free(&verdict);
    for (int r = 0; r < 2; r++) lay_run_evidence_free(&runs[r]);
    lay_unit_free(box);
}

/* 28 events per turn of the countershaft are a sideband of its 27 teeth, 41 are a ghost. */
static void sidebands_are_no_ghosts(void **state) {
    (void)state;
    for (int i = 0; i < 2; i++) {
        int multiple = i ? 41 : 28, found = 0;
        const made_tone tones[] = {{multiple * COUNTERSHAFT, 40}};
        lay_run_evidence run;
        lay_hypothesis_list list;
        evidence_make(&run, fixture_unit, "3", tones, 1);
        assert_int_equal(lay_hypotheses_build(fixture_unit, &run, 1, &list, NULL), LAY_OK);
        for (size_t k = 0; k < list.count; k++)
            found += list.items[k].kind == LAY_KIND_GHOST && list.items[k].multiple == multiple;
        assert_int_equal(found > 0, i);
        free(list.items);
        lay_run_evidence_free(&run);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_skirt_hides_what_stands_in_it),
        cmocka_unit_test(the_engine_is_learnt_where_the_part_is_silent),
        cmocka_unit_test(ghosts_stay_clear_of_firing_orders),
        cmocka_unit_test(the_stronger_sideband_counts),
        cmocka_unit_test(sidebands_settle_the_kind),
        cmocka_unit_test(an_idle_mesh_does_not_explain_a_loud_line),
        cmocka_unit_test(sidebands_are_no_ghosts),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
