/* Each line gets the explanation that made it, and shares never add up to more than one. */
#include <layshaft/source.h>

#include "support/cmocka_all.h"
#include "support/close.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>

/* Third gear of the fixture's unit: countershaft 23/36, third pair 27 x 23/36 = 17.25, third gear 17.25/29, axle
 * 11 x 17.25/29 = 6.5431, alternator 2.7 and 16.2. */
#define COUNTERSHAFT (23.0 / 36)
#define AXLE (11 * 17.25 / 29)

static const lay_claim *first_claim(const lay_run_evidence *run, double order) {
    const lay_explained_line *line = evidence_line(run, order);
    double sum = 0;
    for (int i = 0; i < line->claim_count; i++) {
        sum += line->claims[i].probability;
        if (i > 0) assert_true(line->claims[i].probability <= line->claims[i - 1].probability);
    }
    assert_true(sum <= 1 + 1e-9);
    return line->claim_count ? &line->claims[0] : NULL;
}

static const char *part_name(const lay_run_evidence *run, const lay_claim *c) {
    return c->part >= 0 ? run->expected[c->part].name : "";
}

static void mesh_harmonics_and_sidebands(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25, 40}, {3 * 17.25, 30}, {17.25 + COUNTERSHAFT, 20}, {23, 25}};
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, 4);
    const lay_claim *c = first_claim(&run, 17.25);
    assert_int_equal(c->class_, LAY_LINE_MESH);
    assert_string_equal(part_name(&run, c), "third pair");
    assert_int_equal(c->harmonic, 1);
    c = first_claim(&run, 3 * 17.25);
    assert_int_equal(c->class_, LAY_LINE_MESH);
    assert_int_equal(c->harmonic, 3);
    c = first_claim(&run, 17.25 + COUNTERSHAFT);
    assert_int_equal(c->class_, LAY_LINE_MESH);
    assert_int_equal(c->sideband, 1);
    assert_string_equal(fixture_unit->bodies[c->body].name, "countershaft");
    c = first_claim(&run, 23);
    assert_string_equal(part_name(&run, c), "headset");
    lay_run_evidence_free(&run);
}

/* The fifth harmonic of a silent mesh, or the double of a silent order of a rotor, explains nothing. */
static void a_high_harmonic_does_not_stand_alone(void **state) {
    (void)state;
    const made_tone mesh[] = {{5 * 17.25, 40}, {17.25, 40}}, rotor[] = {{32.4, 40}, {16.2, 40}};
    for (size_t count = 1; count <= 2; count++) {
        lay_run_evidence run;
        evidence_make(&run, fixture_unit, "3", mesh, count);
        const lay_claim *c = first_claim(&run, mesh[0].order);
        assert_int_equal(c && c->class_ == LAY_LINE_MESH && c->harmonic == 5, count == 2);
        lay_run_evidence_free(&run);
        evidence_make(&run, fixture_unit, "3", rotor, count);
        c = first_claim(&run, rotor[0].order);
        assert_int_equal(c && c->class_ == LAY_LINE_ROTOR && c->harmonic == 2, count == 2);
        lay_run_evidence_free(&run);
    }
}

static void a_sideband_needs_a_carrier(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25 + COUNTERSHAFT, 20}};
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, 1);
    const lay_claim *c = first_claim(&run, 17.25 + COUNTERSHAFT);
    assert_true(!c || c->class_ != LAY_LINE_MESH); /* 28 per turn of the countershaft: a ghost at most */
    lay_run_evidence_free(&run);
}

static void engine_axle_and_rotor(void **state) {
    (void)state;
    const made_tone tones[] = {{3, 40}, {6, 38}, {9, 36}, {12, 34}, {AXLE, 25}, {16.2, 25}};
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, 6);
    for (int k = 1; k <= 4; k++) assert_int_equal(first_claim(&run, 3 * k)->class_, LAY_LINE_ENGINE);
    assert_int_equal(first_claim(&run, AXLE)->class_, LAY_LINE_AXLE);
    const lay_claim *c = first_claim(&run, 16.2);
    assert_int_equal(c->class_, LAY_LINE_ROTOR);
    assert_string_equal(part_name(&run, c), "alternator");
    lay_run_evidence_free(&run);
}

static void ghost_unknown_and_fixed(void **state) {
    (void)state;
    const made_tone tones[] = {{37 * COUNTERSHAFT, 30}, {20.40, 30}, {13.33, 30}};
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, 3);
    const lay_claim *c = first_claim(&run, 37 * COUNTERSHAFT);
    assert_int_equal(c->class_, LAY_LINE_GHOST);
    assert_int_equal(c->harmonic, 37);
    assert_string_equal(fixture_unit->bodies[c->body].name, "countershaft");
    c = first_claim(&run, 20.40);
    assert_true(!c || c->probability < 0.5);
    run.fixed_hz = lay_calloc(1, sizeof *run.fixed_hz);
    assert_non_null(run.fixed_hz);
    run.fixed_hz[0] = 13.33 * run.mean_hz;
    run.fixed_hz_count = 1;
    lay_run_explain(fixture_unit, &run);
    assert_int_equal(first_claim(&run, 13.33)->class_, LAY_LINE_FIXED_HZ);
    lay_run_evidence_free(&run);
}

static void names_are_complete(void **state) {
    (void)state;
    for (int i = 0; i < LAY_LINE_CLASS_COUNT; i++) {
        const char *name = lay_line_class_name((lay_line_class)i);
        assert_non_null(name);
        for (int j = 0; j < i; j++) assert_string_not_equal(name, lay_line_class_name((lay_line_class)j));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mesh_harmonics_and_sidebands), cmocka_unit_test(a_sideband_needs_a_carrier),
        cmocka_unit_test(engine_axle_and_rotor),        cmocka_unit_test(ghost_unknown_and_fixed),
        cmocka_unit_test(names_are_complete),           cmocka_unit_test(a_high_harmonic_does_not_stand_alone),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
