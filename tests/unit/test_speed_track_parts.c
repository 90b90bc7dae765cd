/* The steps that lead to a first path of the speed, each on its own. */
#include "speed/chirp.h"
#include "speed/comb.h"
#include "speed/still.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/played_chapter.h"

#include <math.h>
#include <stdlib.h>

#define RATE 16000.0

/* ---- the whitener ---- */

/* Mean of power over floor, between two bins and over many spectra of noise with a slope in dB per octave; a line 30 dB
 * over the noise stands at every `line_every`-th bin (0: none) and is not counted, nor are its neighbours. */
static double whitened(size_t from, size_t to, double db_per_octave, size_t line_every) {
    enum { BINS = 1500, SPECTRA = 60 };
    static double power[BINS], floor[BINS];
    lay_whitener w;
    lay_error err = {0};
    lay_random random;
    double sum = 0, count = 0;
    lay_random_seed(&random, 3);
    fine(lay_whitener_init(&w, BINS, 4, &err), &err);
    for (int s = 0; s < SPECTRA; s++) {
        for (size_t i = 0; i < BINS; i++) {
            power[i] = -log(1 - lay_random_unit(&random)) * lay_db_to_power(db_per_octave * log2((double)i + 1));
            if (line_every > 0 && i % line_every == line_every / 2) power[i] *= 1000;
        }
        lay_whitener_floor(&w, power, floor);
        for (size_t i = from; i < to; i++) {
            if (line_every > 0 && i % line_every == line_every / 2) continue;
            sum += power[i] / floor[i];
            count++;
        }
    }
    lay_whitener_free(&w);
    return sum / count;
}

static void whitened_noise_is_near_one(void **state) {
    (void)state;
    assert_close(whitened(5, 1495, 0, 0), 1, 0.1, 0);
    assert_close(whitened(5, 1495, 0, 12), 1, 0.15, 0); /* a twelfth of all bins are lines */
    static const size_t edges[] = {50, 100, 200, 400, 800, 1450};
    for (size_t k = 0; k + 1 < sizeof edges / sizeof edges[0]; k++) {
        assert_close(whitened(edges[k], edges[k + 1], -12, 0), 1, 0.1, 0);
        assert_close(whitened(edges[k], edges[k + 1], 12, 0), 1, 0.1, 0);
    }
}

/* Neither silence nor a single line in it may divide by zero. */
static void whitener_of_silence(void **state) {
    (void)state;
    double power[200] = {0}, floor[200];
    lay_whitener w;
    lay_error err = {0};
    fine(lay_whitener_init(&w, 200, 4, &err), &err);
    power[100] = 1;
    lay_whitener_floor(&w, power, floor);
    for (size_t i = 0; i < 200; i++) assert_true(floor[i] > 0 && isfinite(power[i] / floor[i]));
    lay_whitener_free(&w);
}

/* ---- tones that keep their frequency ---- */

/* Amplitude of exp(2 pi i turns(t)) in x under a Hann window over all of it. */
typedef double phase_of(double t);
static double amplitude(const float *x, size_t count, double rate, phase_of *turns) {
    double re = 0, im = 0, weight = 0;
    for (size_t i = 0; i < count; i++) {
        double w = 1 - cos(2 * LAY_PI * (double)i / (double)count), angle = 2 * LAY_PI * turns((double)i / rate);
        re += w * (double)x[i] * cos(angle);
        im += w * (double)x[i] * sin(angle);
        weight += w;
    }
    return 2 * hypot(re, im) / weight;
}

static double hum(double t) {
    return 50.03 * t;
}
static double third(double t) {
    return 150.09 * t;
}
static double inverter(double t) {
    return 1234.5 * t;
}
static double sweep(double t) {
    return 100 * t + 0.5 * 125 * t * t;
} /* 100 to 1600 Hz in 12 s */

static double still_sound(double t) {
    double sum = 0.1 * sin(2 * LAY_PI * sweep(t)) + 0.2 * sin(2 * LAY_PI * inverter(t) + 1);
    for (int h = 1; h <= 6; h++) sum += 0.3 / h * sin(2 * LAY_PI * h * hum(t) + h);
    return sum;
}

static void compare_still(const float *before, const float *after, size_t count, double rate, bool tone_goes) {
    phase_of *const tones[] = {hum, third, inverter};
    for (size_t k = 0; k < 3; k++) {
        double loss =
            lay_db_power(pow(amplitude(before, count, rate, tones[k]) / amplitude(after, count, rate, tones[k]), 2));
        if (tones[k] != inverter || tone_goes)
            assert_true(loss >= 25);
        else
            assert_close(loss, 0, 0.5, 0);
    }
    double kept = lay_db_power(pow(amplitude(after, count, rate, sweep) / amplitude(before, count, rate, sweep), 2));
    assert_close(kept, 0, 1, 0);
}

static void still_tones_go_and_a_sweep_stays(void **state) {
    (void)state;
    const double rate = 8000;
    const size_t count = 12 * 8000;
    lay_random random;
    lay_error err = {0};
    lay_random_seed(&random, 8);
    double *x = lay_calloc(count, sizeof *x);
    assert_non_null(x);
    for (size_t i = 0; i < count; i++) x[i] = still_sound((double)i / rate) + 0.05 * lay_random_normal(&random);
    for (int hum_only = 0; hum_only <= 1; hum_only++) {
        lay_chapter before = chapter_of(x, count, rate), after = chapter_of(x, count, rate);
        size_t removed = 0;
        fine(lay_still_remove(&after, hum_only, &removed, &err), &err);
        assert_int_equal(removed, hum_only ? 6 : 7);
        compare_still(before.wide, after.wide, count, rate, !hum_only);
        compare_still(before.narrow, after.narrow, count / 2, rate / 2, !hum_only);
        lay_chapter_free(&before);
        lay_chapter_free(&after);
    }
    free(x);
}

/* The lines of a shaft that wanders as engines do are no still tones. */
static void a_wandering_shaft_is_not_still(void **state) {
    (void)state;
    played_box box;
    played_usual_box(&box);
    played p = {.rate = RATE, .motion = {26.3, 26.3, 12, 0.003, 0.15}, .box = &box, .noise = 0.1, .seed = 4};
    lay_chapter c = chapter_played(&p);
    lay_error err = {0};
    size_t removed = 99;
    fine(lay_still_remove(&c, false, &removed, &err), &err);
    assert_int_equal(removed, 0);
    lay_chapter_free(&c);
}

/* ---- slopes ---- */

/* The usual box on a shaft that speeds up by the share `a` per second, closed form. */
static lay_chapter exponential(double from_hz, double a, double seconds) {
    size_t count = (size_t)(seconds * RATE);
    double *x = lay_calloc(count, sizeof *x);
    assert_non_null(x);
    played_box box;
    lay_random random;
    played_usual_box(&box);
    lay_random_seed(&random, 6);
    for (size_t i = 0; i < count; i++) {
        double t = (double)i / RATE, turns = fabs(a) < 1e-9 ? from_hz * t : from_hz * (exp(a * t) - 1) / a;
        x[i] = 0.1 * lay_random_normal(&random);
        for (size_t k = 0; k < box.line_count; k++)
            x[i] += box.lines[k].amplitude * sin(2 * LAY_PI * (box.lines[k].order * turns + 0.31 * (double)k));
    }
    lay_chapter c = chapter_of(x, count, RATE);
    free(x);
    return c;
}

/* `step`: distance of the tracker's slopes about `a`. */
static void check_slopes(double from_hz, double a, double step) {
    lay_chapter c = exponential(from_hz, a, 5);
    lay_chirp views[LAY_CHIRP_VIEWS];
    lay_error err = {0};
    fine(lay_chirp_make(&c, views, &err), &err);
    assert_true(views[0].frames > 30);
    for (size_t f = 0; f < views[0].frames; f++) {
        assert_close((double)views[0].slope[f], a, step, 0);
        double end = views[0].first_s + (double)f * views[0].hop_s;
        assert_true(end > 0 && end < 5);
    }
    if (fabs(a) > 0.1) /* view 1 is for sweeps */
        for (size_t f = 0; f < views[1].frames; f++) assert_close((double)views[1].slope[f], a, step, 0);
    for (size_t v = 0; v < LAY_CHIRP_VIEWS; v++) lay_chirp_free(&views[v]);
    lay_chapter_free(&c);
}

static void slopes_of_analytic_chirps(void **state) {
    (void)state;
    check_slopes(30, 0, 0.0201);
    check_slopes(18, 0.15, 0.045);
    check_slopes(15, 0.31, 0.07);
    check_slopes(50, -0.2, 0.05);
    check_slopes(60, -0.39, 0.09);
}

/* Seen along the right slope, the highest order is as sharp as that of a steady shaft. */
static void chirps_are_sharpened(void **state) {
    (void)state;
    double peak[2];
    for (int k = 0; k < 2; k++) {
        lay_chapter c = exponential(k ? 20 : 30, k ? 0.22 : 0, 4);
        lay_chirp views[LAY_CHIRP_VIEWS];
        lay_error err = {0};
        fine(lay_chirp_make(&c, views, &err), &err);
        peak[k] = 0;
        for (size_t f = 0; f < views[0].frames; f++) {
            double t = views[0].first_s + (double)f * views[0].hop_s, hz = 23 * (k ? 20 * exp(0.22 * t) : 30), best = 0;
            for (double at = hz / views[0].bin_hz - 2; at <= hz / views[0].bin_hz + 2; at++)
                best = fmax(best, (double)views[0].ratio[f * views[0].bins + (size_t)at]);
            peak[k] += log(best) / (double)views[0].frames;
        }
        for (size_t v = 0; v < LAY_CHIRP_VIEWS; v++) lay_chirp_free(&views[v]);
        lay_chapter_free(&c);
    }
    assert_close(peak[1], peak[0], 0.5, 0);
}

static void a_short_chapter_has_no_frames(void **state) {
    (void)state;
    lay_chapter c = exponential(30, 0, 0.2);
    lay_chirp views[LAY_CHIRP_VIEWS];
    lay_error err = {0};
    fine(lay_chirp_make(&c, views, &err), &err);
    assert_int_equal(views[0].frames + views[1].frames, 0);
    lay_chapter_free(&c);
}

/* ---- paths ---- */

enum { FRAMES = 5, COUNT = 6, STRIDE = 8 };

static double worth(const float *score, const double *drift, double sd, const size_t *path) {
    double sum = (double)score[path[0]];
    for (size_t f = 1; f < FRAMES; f++) {
        double off = ((double)path[f] - (double)path[f - 1] - drift[f]) / sd;
        sum += (double)score[f * STRIDE + path[f]] - 0.5 * off * off;
    }
    return sum;
}

static double best_of_all(const float *score, const double *drift, double sd) {
    size_t path[FRAMES] = {0};
    double best = -1e300;
    for (;;) {
        best = fmax(best, worth(score, drift, sd, path));
        size_t f = 0;
        while (f < FRAMES && ++path[f] == COUNT) path[f++] = 0;
        if (f == FRAMES) return best;
    }
}

static void paths_against_brute_force(void **state) {
    (void)state;
    lay_random random;
    lay_error err = {0};
    lay_random_seed(&random, 12);
    for (int trial = 0; trial < 60; trial++) {
        float score[FRAMES * STRIDE];
        double drift[FRAMES], sd = trial % 2 ? 0.6 : 2.5, total = 0;
        size_t path[FRAMES];
        for (size_t i = 0; i < FRAMES * STRIDE; i++) score[i] = (float)lay_random_between(&random, 0, 2.5);
        for (size_t f = 0; f < FRAMES; f++) drift[f] = lay_random_between(&random, -0.9, 0.9);
        bool drifts = trial % 3 > 0;
        for (size_t f = 0; f < FRAMES && !drifts; f++) drift[f] = 0;
        fine(lay_path_find(score, FRAMES, STRIDE, COUNT, drifts ? drift : NULL, sd, path, &total, &err), &err);
        assert_close(worth(score, drift, sd, path), total, 1e-5, 0);
        assert_close(total, best_of_all(score, drift, sd), 1e-5, 0);
    }
}

static void path_of_one_frame(void **state) {
    (void)state;
    const float score[] = {1, 5, 2};
    size_t path[1] = {9};
    lay_error err = {0};
    fine(lay_path_find(score, 1, 3, 3, NULL, 1, path, NULL, &err), &err);
    assert_int_equal(path[0], 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whitened_noise_is_near_one),
        cmocka_unit_test(whitener_of_silence),
        cmocka_unit_test(still_tones_go_and_a_sweep_stays),
        cmocka_unit_test(a_wandering_shaft_is_not_still),
        cmocka_unit_test(slopes_of_analytic_chirps),
        cmocka_unit_test(chirps_are_sharpened),
        cmocka_unit_test(a_short_chapter_has_no_frames),
        cmocka_unit_test(paths_against_brute_force),
        cmocka_unit_test(path_of_one_frame),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
