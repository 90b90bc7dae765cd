/* Squared envelope spectra over the orders: the law of noise, a bearing's blows while the speed runs up, bad input. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/struck.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- noise ---- */

/* Ratios whose order is far enough from standstill, where the running mean has eaten the changes, and so far from each
 * other that they hardly depend on each other (Hann windows: every second bin, every third band). */
static void tally(const lay_envelope_spectrum *e, size_t first, size_t last, const double *limit, double *above,
                  double *sum, double *count) {
    for (size_t b = first; b < last; b += 3)
        for (size_t i = (size_t)(0.5 / e->step); i < e->bins; i += 2) {
            double ratio = (double)e->ratio[b * e->bins + i];
            for (int k = 0; k < 2; k++) above[k] += ratio > limit[k];
            *sum += ratio;
            *count += 1;
        }
}

/* chi-square with 2 M degrees of freedom over 2 M (references: significance of the squared envelope spectrum; derived
 * there): 1 % and 0.1 % lie above their thresholds, within four deviations of a binomial count, and a fifth more for
 * the floor, which is itself an estimate. */
static void noise_keeps_to_its_law(void **state) {
    (void)state;
    static const struct {
        double seconds;
        size_t turns;
    } cases[] = {{8, 64}, {16, 32}, {36, 32}};
    static const double chance[] = {0.01, 0.001};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struck s = {.rate = 48000, .seconds = cases[i].seconds, .low_hz = 22, .high_hz = 28, .channels = 1};
        struck_make(&s, 1, 11);
        lay_envelope_spectrum e = {0};
        lay_envelope_options o = {.turns = cases[i].turns, .max_order = 24};
        assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
        /* half-overlapping Hann windows share a sixth of their amplitude (Welch 1967) */
        double k = (double)e.segments, limit[2], above[2] = {0}, sum = 0, count = 0;
        assert_close(e.averages, k / (1 + 2 * (1 - 1 / k) / 36), 1e-9, 1e-6);
        for (int j = 0; j < 2; j++) limit[j] = lay_chi2_threshold(chance[j], 2 * e.averages) / (2 * e.averages);
        tally(&e, 0, e.elementary, limit, above, &sum, &count);
        printf("  %.1f averages: mean %.3f, above the 1 %% threshold %.2f %%, above the 0.1 %% threshold %.3f %%\n",
               e.averages, sum / count, 100 * above[0] / count, 100 * above[1] / count);
        assert_close(sum / count, 1, 0.02, 0);
        for (int j = 0; j < 2; j++)
            assert_close(above[j], chance[j] * count, 4 * sqrt(chance[j] * count), j == 0 ? 0.2 : 0.4);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

/* The thresholds themselves, 1 % of the mean of M spectra (references: significance; verified there by simulation). */
static void thresholds_are_the_published_ones(void **state) {
    (void)state;
    static const struct {
        double averages, limit;
    } rows[] = {{1, 4.60517}, {2, 3.3192}, {4, 2.5113}, {8, 2.0000}, {16, 1.6714}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_close(lay_chi2_threshold(0.01, 2 * rows[i].averages) / (2 * rows[i].averages), rows[i].limit, 5e-5, 0);
    assert_close(lay_chi2_threshold(0.001, 2) / 2, 6.90776, 5e-6, 0);
}

/* ---- blows ---- */

static const struck_train outer_ring = {
    .order = 3.58478, .first = 0.3, .hz = 5200, .decay_s = 0.0006, .amplitude = 2, .channel = -1};

static struck run_up(int channels, uint64_t seed) {
    struck s = {.rate = 24000, .seconds = 16, .low_hz = 20, .high_hz = 35, .channels = channels};
    struck_make(&s, 1, seed);
    return s;
}

/* Order of a 6205's outer ring (CWRU, published multiple 3.5848), while the speed rises by three quarters. */
static void blows_stand_at_their_order_in_the_band_of_their_ring(void **state) {
    (void)state;
    struck s = run_up(1, 12);
    struck_rings(&s, &outer_ring);
    lay_envelope_spectrum e = struck_spectrum(&s);
    size_t near = struck_band(&e, 5200), all = e.elementary, at;
    double noise = lay_chi2_threshold(1e-4, 2 * e.averages) / (2 * e.averages);
    for (int n = 1; n <= 4; n++) {
        double order = n * outer_ring.order;
        assert_true(struck_ratio(&e, near, order, 8, &at) > 10 * noise);
        assert_close((double)at * e.step, order, 1.01 * e.step, 0);
        assert_true(struck_ratio(&e, all, order, 1, NULL) > 3 * noise);
        assert_true(struck_ratio(&e, near, order + 0.5, 1, NULL) < 2 * noise);
    }
    double far = 0, bands = 0;
    for (size_t b = 0; b < e.elementary; b++) {
        if (e.bands[b].high_hz > 3000 && e.bands[b].low_hz < 8000) continue;
        double ratio = struck_ratio(&e, b, outer_ring.order, 1, NULL);
        assert_true(ratio < 2 * noise);
        far += ratio;
        bands += 1;
    }
    assert_true(bands >= 8 && far / bands < 0.6 * noise); /* the highest of three bins of noise has 1.5 in mean */
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* The energies of the channels are averaged: blows in one of two stand out less, in both more than in one. */
static void channels_are_averaged(void **state) {
    (void)state;
    double ratio[3];
    for (int k = 0; k < 3; k++) {
        struck s = run_up(k == 0 ? 1 : 2, 13);
        struck_train train = outer_ring;
        train.amplitude = 1.5;
        train.channel = k == 1 ? 0 : -1;
        struck_rings(&s, &train);
        lay_envelope_spectrum e = struck_spectrum(&s);
        ratio[k] = struck_ratio(&e, struck_band(&e, 5200), outer_ring.order, 1, NULL);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
    printf("  one channel %.1f, one of two %.1f, both %.1f over the floor\n", ratio[0], ratio[1], ratio[2]);
    assert_close(ratio[2], 2 * ratio[0], 0, 0.35); /* the blows are in step, the noises are not */
    assert_close(ratio[1], 0.5 * ratio[0], 0, 0.35);
}

/* ---- streams ---- */

static void assert_same(const lay_envelope_spectrum *a, const lay_envelope_spectrum *b) {
    assert_int_equal(a->bins, b->bins);
    assert_int_equal(a->band_count, b->band_count);
    assert_int_equal(a->segments, b->segments);
    assert_memory_equal(a->ratio, b->ratio, a->band_count * a->bins * sizeof *a->ratio);
    assert_memory_equal(a->lines, b->lines, a->locked_count * a->band_count * LAY_LOCKED_LINES * sizeof *a->lines);
    for (size_t i = 0; i < a->band_count; i++) assert_close(a->bands[i].kurtosis, b->bands[i].kurtosis, 0, 0);
}

static void chunks_of_any_size_give_the_same_bits(void **state) {
    (void)state;
    static const size_t chunks[] = {1, 7, 48, 1021, 65536};
    static const double locked[] = {1, 0.64};
    lay_envelope_options o = {.locked = locked, .locked_count = 2};
    struck s = {.rate = 16000, .seconds = 5, .low_hz = 20, .high_hz = 30, .channels = 2};
    struck_make(&s, 1, 14);
    struck_rings(&s, &outer_ring);
    lay_envelope_spectrum whole = {0};
    assert_int_equal(struck_analyse(&s, o, 0, &whole, NULL), LAY_OK);
    for (size_t i = 0; i < sizeof chunks / sizeof *chunks; i++) {
        lay_envelope_spectrum e = {0};
        assert_int_equal(struck_analyse(&s, o, chunks[i], &e, NULL), LAY_OK);
        assert_same(&e, &whole);
        lay_envelope_spectrum_free(&e);
    }
    lay_envelope_spectrum_free(&whole);
    struck_free(&s);
}

/* What is no finite number is taken as 0. */
static void holes_count_as_silence(void **state) {
    (void)state;
    lay_envelope_spectrum e[2] = {0};
    for (int k = 0; k < 2; k++) {
        struck s = {.rate = 16000, .seconds = 5, .low_hz = 25, .high_hz = 25, .channels = 1};
        struck_make(&s, 1, 15);
        for (size_t i = 100; i < s.frames; i += 997) s.x[i] = k == 0 ? 0 : i % 2 ? (double)NAN : -INFINITY;
        e[k] = struck_spectrum(&s);
        struck_free(&s);
    }
    assert_same(&e[0], &e[1]);
    for (size_t i = 0; i < e[1].band_count * e[1].bins; i++) assert_true(isfinite(e[1].ratio[i]));
    lay_envelope_spectrum_free(&e[0]);
    lay_envelope_spectrum_free(&e[1]);
}

/* Nothing but silence says nothing, but says it in numbers. */
static void silence_makes_no_lines(void **state) {
    (void)state;
    struck s = {.rate = 16000, .seconds = 5, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 0, 0);
    lay_envelope_spectrum e = struck_spectrum(&s);
    for (size_t i = 0; i < e.band_count * e.bins; i++) assert_true(e.ratio[i] >= 0 && e.ratio[i] < 2);
    for (size_t b = 0; b < e.band_count; b++) assert_true(isfinite(e.bands[b].kurtosis));
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* ---- stretches of speed ---- */

/* The speed is unknown from the middle on for a second: knots 100 to 114 of 201 are taken out. */
static void cut_shaft(struck *s) {
    lay_shaft *shaft = &s->shaft;
    enum { FROM = 101, TO = 115 };
    size_t left = shaft->count - TO;
    memmove(shaft->time + FROM, shaft->time + TO, left * sizeof(double));
    memmove(shaft->turns + FROM, shaft->turns + TO, left * sizeof(double));
    memmove(shaft->hz + FROM, shaft->hz + TO, left * sizeof(double));
    shaft->count = FROM + left;
    free(shaft->segment_start);
    shaft->segment_start = lay_calloc(2, sizeof(size_t));
    shaft->segment_start[1] = FROM;
    shaft->segment_count = 2;
}

static void a_gap_in_the_speed_is_left_out(void **state) {
    (void)state;
    struck s = run_up(1, 16);
    struck_rings(&s, &outer_ring);
    cut_shaft(&s);
    for (size_t i = (size_t)(8.05 * s.rate); i < (size_t)(9.05 * s.rate); i++)
        s.x[i] = 40 * lay_random_normal(&s.random);
    lay_envelope_spectrum e = struck_spectrum(&s);
    size_t near = struck_band(&e, 5200), at;
    double turns = struck_turns(&s, 16);
    assert_true(e.revolutions > 0.5 * turns && e.revolutions < turns);
    /* 190 and 216 turns hold one and two half-overlapping segments of 128; none reaches over the gap */
    assert_close(e.step, 1.0 / 128, 0, 0);
    assert_int_equal(e.segments, 3);
    for (int n = 1; n <= 3; n++) {
        assert_true(struck_ratio(&e, near, n * outer_ring.order, 8, &at) > 20);
        assert_close((double)at * e.step, n * outer_ring.order, 1.01 * e.step, 0);
    }
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Segments are of 8 turns at least. */
static void fewer_than_eight_turns_are_too_few(void **state) {
    (void)state;
    for (int k = 0; k < 2; k++) {
        struck s = {.rate = 16000, .seconds = k ? 8.2 / 25 : 7.9 / 25, .low_hz = 25, .high_hz = 25, .channels = 1};
        struck_make(&s, 1, 17);
        lay_envelope_spectrum e = {0};
        lay_error err = {0};
        assert_int_equal(struck_analyse(&s, (lay_envelope_options){0}, 0, &e, &err), k ? LAY_OK : LAY_BAD_INPUT);
        if (k == 0) assert_non_null(strstr(err.message, "8 turns"));
        if (k == 0) assert_null(e.ratio);
        if (k == 1) assert_close(e.step, 1.0 / 8, 0, 0);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_keeps_to_its_law),
        cmocka_unit_test(thresholds_are_the_published_ones),
        cmocka_unit_test(blows_stand_at_their_order_in_the_band_of_their_ring),
        cmocka_unit_test(channels_are_averaged),
        cmocka_unit_test(chunks_of_any_size_give_the_same_bits),
        cmocka_unit_test(holes_count_as_silence),
        cmocka_unit_test(silence_makes_no_lines),
        cmocka_unit_test(a_gap_in_the_speed_is_left_out),
        cmocka_unit_test(fewer_than_eight_turns_are_too_few),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
