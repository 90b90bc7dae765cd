/* What stands at an order, line or not, and the engine's share of it. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/unit_text.h"

#include <math.h>

/* Tone-to-noise ratio of a tone of power P in noise of 1 per bin: P over the noise in the critical band around it,
 * band/step/enbw bins wide. */
static double expected_tnr(double db, double order) {
    double bins = lay_critical_bandwidth(order * 30) / 30 * 64;
    return db - lay_db_power(bins / 1.5);
}

static void a_tone_has_its_level(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25, 40}, {41.31, 25}};
    lay_run_evidence run;
    lay_tone tone;
    evidence_make(&run, fixture_unit, "3", tones, 2);
    for (int i = 0; i < 2; i++) {
        lay_tone_at(&run, tones[i].order, 0, &tone);
        assert_true(tone.valid && !tone.fixed);
        assert_close(lay_db_power(tone.power), tones[i].db, 0.5, 0);
        assert_close(tone.tnr_db, expected_tnr(tones[i].db, tones[i].order), 1, 0);
        assert_close(tone.hz, 30 * tones[i].order, 1e-9, 0);
        assert_true(tone.significance > 10);
        assert_true(tone.off_sd < 3);
    }
    lay_run_evidence_free(&run);
}

static void noise_is_no_tone(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25, 40}};
    lay_run_evidence run;
    lay_tone tone;
    evidence_make(&run, fixture_unit, "3", tones, 1);
    int loud = 0;
    for (double order = 5.3; order < 110; order += 2.385) {
        if (fabs(order - 17.25) < 0.5) continue;
        lay_tone_at(&run, order, 0, &tone);
        assert_true(tone.valid);
        loud += tone.significance > 2;
    }
    assert_true(loud <= 1);
    lay_run_evidence_free(&run);
}

static void outside_the_spectrum_nothing_is_valid(void **state) {
    (void)state;
    lay_run_evidence run;
    lay_tone tone;
    evidence_make(&run, fixture_unit, "3", NULL, 0);
    const double outside[] = {0, 0.01, -3, 120.5, 1e9};
    for (int i = 0; i < 5; i++) {
        lay_tone_at(&run, outside[i], 0, &tone);
        assert_false(tone.valid);
        assert_close(tone.tnr_db, -40, 0, 0);
    }
    lay_run_evidence_free(&run);
}

static void a_neighbour_is_not_at_the_place(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25 + 1.0 / 64, 40}};
    lay_run_evidence run;
    lay_tone tone;
    evidence_make(&run, fixture_unit, "3", tones, 1);
    lay_tone_at(&run, 17.25, 0, &tone);
    assert_true(tone.off_sd > 4);
    lay_run_evidence_free(&run);
}

/* Two bins away its shoulder is the highest thing in reach: what stands there is that line, at its own place. */
static void a_shoulder_leads_to_its_line(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25 + 2.4 / 64, 40}};
    lay_run_evidence run;
    lay_tone tone;
    evidence_make(&run, fixture_unit, "3", tones, 1);
    lay_tone_at(&run, 17.25, 0, &tone);
    assert_close(tone.found, tones[0].order, 0.1 / 64, 0);
    assert_true(tone.off_sd > 5);
    lay_run_evidence_free(&run);
}

/* The share at one order is what its neighbours of the same family have: firing orders 3, 6, ... for six cylinders. */
static void engine_share_comes_from_neighbours(void **state) {
    (void)state;
    made_tone tones[8];
    for (int k = 1; k <= 8; k++) tones[k - 1] = (made_tone){3 * k, 30};
    lay_run_evidence run;
    evidence_make(&run, fixture_unit, "3", tones, 8);
    assert_close(lay_db_power(lay_engine_share(&run, 12)), 30, 1.5, 0);
    assert_close(lay_engine_share(&run, 12.2), 0, 0, 0); /* no order of the engine */
    assert_true(lay_engine_share(&run, 40.5) < 10);      /* silent neighbours */
    lay_run_evidence_free(&run);
}

/* On a stand with no engine, an order that a gear makes as well does not prove one: the headset here sings at 12. */
static void gears_are_no_engine(void **state) {
    (void)state;
    lay_unit *stand = unit_of("[unit]\nname = Stand\ndriven by = input shaft\noutput = output shaft\n"
                              "[mesh pair]\ndriver = input shaft, 12\ndriven = output shaft, 47\n[gear 1]\n"
                              "[engine]\ncylinders = 8\nstrokes = 4\nturns with = input shaft\n");
    const made_tone tones[] = {{12, 50}, {4, 50}, {8, 50}};
    for (size_t count = 1; count <= 3; count += 2) {
        lay_run_evidence run;
        evidence_make(&run, stand, "1", tones, count);
        assert_int_equal(lay_engine_order(&run, 12), count == 3);
        lay_run_evidence_free(&run);
    }
    lay_unit_free(stand);
}

static void without_an_engine_there_is_no_share(void **state) {
    (void)state;
    lay_unit *bench = unit_of("[unit]\nname = Bench\ndriven by = input shaft\noutput = output shaft\n"
                              "[mesh pair]\ndriver = input shaft, 23\ndriven = output shaft, 47\n[gear 1]\n");
    const made_tone tones[] = {{12, 30}, {23, 30}};
    lay_run_evidence run;
    evidence_make(&run, bench, "1", tones, 2);
    assert_close(lay_engine_share(&run, 12), 0, 0, 0);
    lay_run_evidence_free(&run);
    lay_unit_free(bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_tone_has_its_level),
        cmocka_unit_test(noise_is_no_tone),
        cmocka_unit_test(outside_the_spectrum_nothing_is_valid),
        cmocka_unit_test(a_neighbour_is_not_at_the_place),
        cmocka_unit_test(a_shoulder_leads_to_its_line),
        cmocka_unit_test(engine_share_comes_from_neighbours),
        cmocka_unit_test(gears_are_no_engine),
        cmocka_unit_test(without_an_engine_there_is_no_share),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
