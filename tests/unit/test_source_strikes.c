/* Series of blows in the envelope spectra of one run: what slips counts, what is locked to the engine does not. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/struck.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* The fixture's third gear: engine of six cylinders on the input shaft (three firings per turn), countershaft at 23/36.
 */
#define COUNTERSHAFT (23.0 / 36)
#define OUTER 3.58478 /* of a 6205 on the input shaft (CWRU, published multiple 3.5848) */
#define INNER 5.41522 /* likewise 5.4152 */

#define SLIPS 41
#define LOW (-0.02)
#define STEP 0.001

typedef struct hearing {
    lay_run_evidence run;
    lay_strikes *strikes;
    struck sound;
} hearing;

/* A run at the 30 turns/s of the made evidence, in which `trains` strike. */
static void hear(hearing *h, const struck_train *trains, size_t count, uint64_t seed) {
    static const double bodies[] = {0.5, 1, 3, COUNTERSHAFT};
    lay_envelope_options o = {.locked = bodies, .locked_count = 4};
    lay_error err = {0};
    h->sound = (struck){.rate = 24000, .seconds = 20, .low_hz = 30, .high_hz = 30, .channels = 1};
    struck_make(&h->sound, 1, seed);
    for (size_t i = 0; i < count; i++) struck_rings(&h->sound, &trains[i]);
    evidence_make(&h->run, fixture_unit, "3", NULL, 0);
    if (struck_analyse(&h->sound, o, 0, &h->run.envelope, &err) != LAY_OK) fail_msg("%s", err.message);
    if (lay_strikes_new(&h->run, &h->strikes, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_non_null(h->strikes);
}

static void forget(hearing *h) {
    lay_strikes_free(h->strikes);
    lay_run_evidence_free(&h->run);
    struck_free(&h->sound);
}

/* The best score over bands and slips; *band and *slip (NULL allowed) tell where, the slip as the middle of those that
 * do as well: a series is looked for a few bins around its lines. */
static double best_score(const hearing *h, lay_strike_series series, double order, double *slip, size_t *band) {
    size_t points = series == LAY_STRIKE_LOCKED ? 1 : SLIPS, bands = lay_strikes_band_count(h->strikes), best = 0;
    float *scores = lay_calloc(bands * points, sizeof *scores);
    assert_non_null(scores);
    assert_true(lay_strike_scores(h->strikes, series, order, points == 1 ? 0 : LOW, STEP, points, scores));
    for (size_t i = 0; i < bands * points; i++)
        if (scores[i] > scores[best]) best = i;
    double score = (double)scores[best];
    size_t row = best / points * points, low = best % points, high = low;
    while (low > 0 && (double)scores[row + low - 1] > score - 0.1) low--;
    while (high + 1 < points && (double)scores[row + high + 1] > score - 0.1) high++;
    if (slip) *slip = points == 1 ? 0 : LOW + STEP * 0.5 * (double)(low + high);
    if (band) *band = best / points;
    free(scores);
    return score;
}

static struck_train train_at(double order, double amplitude) {
    return (struck_train){
        .order = order, .first = 0.21, .hz = 5200, .decay_s = 0.0005, .amplitude = amplitude, .channel = -1};
}

/* A series that slips is found at its own slip, in a band that holds its ring. */
static void a_series_is_found_at_its_slip(void **state) {
    (void)state;
    static const double slips[] = {-0.012, 0.003, 0.015};
    for (int i = 0; i < 3; i++) {
        hearing h;
        struck_train train = train_at(OUTER * (1 + slips[i]), 1.5);
        double slip;
        size_t band;
        hear(&h, &train, 1, 41);
        double score = best_score(&h, LAY_STRIKE_RING, OUTER, &slip, &band);
        assert_true(score > 30);
        assert_close(slip, slips[i], 0.0016, 0);
        const lay_band *hz = &h.run.envelope.bands[lay_strikes_first_band(h.strikes) + band];
        assert_true(hz->low_hz < 5200 && hz->high_hz > 5200);
        lay_strike at;
        lay_strike_at(h.strikes, LAY_STRIKE_RING, OUTER, slip, band, 0, &at);
        assert_true(at.valid);
        assert_int_equal(at.lines, 3);
        assert_close(at.score, score, 0.11, 0);
        assert_close(at.side_db, 0, 0, 0);
        assert_int_equal(at.band, (int)(lay_strikes_first_band(h.strikes) + band));
        for (int k = 0; k < 3; k++) assert_true(at.level_db[k] > 10);
        forget(&h);
    }
}

static void noise_has_no_series(void **state) {
    (void)state;
    hearing h;
    hear(&h, NULL, 0, 42);
    for (double order = 2.2; order < 7; order += 0.731)
        assert_true(best_score(&h, LAY_STRIKE_RING, order, NULL, NULL) < 25);
    assert_true(best_score(&h, LAY_STRIKE_CAGE, 0.39831, NULL, NULL) < 6);
    assert_true(best_score(&h, LAY_STRIKE_LOCKED, COUNTERSHAFT, NULL, NULL) < 4);
    forget(&h);
}

/* Injectors and valves tick at half the engine's turn; a bearing whose order lies at a whole multiple of that would
 * show their lines, one that lies beside it shows its own. */
static void what_is_locked_to_the_engine_does_not_count(void **state) {
    (void)state;
    struck_train trains[] = {train_at(3, 1.5), train_at(0.5, 4), train_at(4.07, 2)};
    trains[1].first = 0.4;
    hearing h;
    hear(&h, trains, 2, 43);
    double firing = best_score(&h, LAY_STRIKE_RING, 3, NULL, NULL),
           ticks = best_score(&h, LAY_STRIKE_RING, 3.5, NULL, NULL);
    size_t band = struck_band(&h.run.envelope, 5200);
    assert_true(struck_ratio(&h.run.envelope, band, 3, 1, NULL) > 30); /* they are there to be heard */
    assert_true(struck_ratio(&h.run.envelope, band, 3.5, 1, NULL) > 10);
    forget(&h);
    hear(&h, trains, 3, 43);
    double slip, beside = best_score(&h, LAY_STRIKE_RING, 4.07, &slip, NULL);
    printf("  engine alone: %.1f dB at 3, %.1f dB at 3.5; a bearing at 4.07: %.1f dB\n", firing, ticks, beside);
    assert_true(firing < 25 && ticks < 25);
    assert_true(beside > 35);
    assert_close(slip, 0, 0.0021, 0);
    forget(&h);
}

/* Injectors that fire alike leave no neighbours in the series of half turns to judge them by; nothing counts there at
 * all. */
static void firing_alone_does_not_count(void **state) {
    (void)state;
    hearing h;
    struck_train train = train_at(3, 3);
    hear(&h, &train, 1, 48);
    assert_true(struck_ratio(&h.run.envelope, struck_band(&h.run.envelope, 5200), 3, 1, NULL) > 100);
    assert_true(best_score(&h, LAY_STRIKE_RING, 3, NULL, NULL) < 25);
    forget(&h);
}

/* An inner ring carries its defect through the load zone once per turn; an outer ring's stays where it is. */
static void sidebands_tell_the_inner_ring(void **state) {
    (void)state;
    double side[2];
    for (int k = 0; k < 2; k++) {
        hearing h;
        struck_train train = train_at(INNER, 3);
        train.swing = k;
        size_t band;
        double slip;
        lay_strike at;
        hear(&h, &train, 1, 44);
        best_score(&h, LAY_STRIKE_RING, INNER, &slip, &band);
        lay_strike_at(h.strikes, LAY_STRIKE_RING, INNER, slip, band, 1, &at);
        side[k] = at.side_db;
        forget(&h);
    }
    printf("  sidebands with %.1f dB, without a load zone %.1f dB\n", side[1], side[0]);
    assert_true(side[1] > 10);
    assert_true(side[0] < 5);
}

/* A chipped tooth of the countershaft: its lines that the engine might cover are not known, the others all stand there,
 * and no other body's do. */
static void a_blow_per_turn_is_a_locked_series(void **state) {
    (void)state;
    hearing h;
    struck_train train = train_at(COUNTERSHAFT, 3);
    size_t band;
    lay_strike at;
    hear(&h, &train, 1, 45);
    double score = best_score(&h, LAY_STRIKE_LOCKED, COUNTERSHAFT, NULL, &band);
    assert_true(score > 12);
    lay_strike_at(h.strikes, LAY_STRIKE_LOCKED, COUNTERSHAFT, 0, band, 0, &at);
    assert_int_equal(at.lines, LAY_STRIKE_LINES);
    for (int k = 0; k < 16; k++)
        if (!isnan(at.level_db[k])) assert_true(at.level_db[k] > 8);
    assert_true(best_score(&h, LAY_STRIKE_LOCKED, 1, NULL, NULL) < 4);
    assert_true(best_score(&h, LAY_STRIKE_LOCKED, 17.25 / 29, NULL, NULL) < 4);
    forget(&h);
    train = train_at(1, 3);
    hear(&h, &train, 1, 45);
    best_score(&h, LAY_STRIKE_LOCKED, 1, NULL, &band);
    lay_strike_at(h.strikes, LAY_STRIKE_LOCKED, 1, 0, band, 0, &at);
    for (int k = 1; k <= 16; k++) assert_int_equal(isnan(at.level_db[k - 1]), k % 3 == 0); /* three firings */
    forget(&h);
}

static void what_lies_outside_cannot_be_looked_for(void **state) {
    (void)state;
    static const double outside[] = {0, -3, 0.01, 28.5, 1e9, NAN};
    hearing h;
    lay_strike at;
    hear(&h, NULL, 0, 46);
    size_t bands = lay_strikes_band_count(h.strikes);
    float *scores = lay_calloc(bands, sizeof *scores);
    assert_non_null(scores);
    for (int i = 0; i < 6; i++) {
        scores[bands - 1] = 1;
        assert_false(lay_strike_scores(h.strikes, LAY_STRIKE_RING, outside[i], 0, 0, 1, scores));
        for (size_t b = 0; b < bands; b++) assert_close((double)scores[b], 0, 0, 0);
        lay_strike_at(h.strikes, LAY_STRIKE_RING, outside[i], 0, 0, 0, &at);
        assert_false(at.valid);
    }
    lay_strike_at(h.strikes, LAY_STRIKE_RING, OUTER, 0, bands, 0, &at);
    assert_false(at.valid);
    free(scores);
    forget(&h);
}

static void a_run_without_envelope_has_no_strikes(void **state) {
    (void)state;
    lay_run_evidence run;
    lay_strikes *strikes = NULL;
    evidence_make(&run, fixture_unit, "3", NULL, 0);
    assert_int_equal(lay_strikes_new(&run, &strikes, NULL), LAY_OK);
    assert_null(strikes);
    lay_strikes_free(strikes);
    lay_run_evidence_free(&run);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_series_is_found_at_its_slip),
        cmocka_unit_test(noise_has_no_series),
        cmocka_unit_test(what_is_locked_to_the_engine_does_not_count),
        cmocka_unit_test(firing_alone_does_not_count),
        cmocka_unit_test(sidebands_tell_the_inner_ring),
        cmocka_unit_test(a_blow_per_turn_is_a_locked_series),
        cmocka_unit_test(what_lies_outside_cannot_be_looked_for),
        cmocka_unit_test(a_run_without_envelope_has_no_strikes),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
