/* The bands of Hz in which energy is followed: where they lie, what their spectral kurtosis says, what falls silent. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/struck.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static struck noise_at(double rate, double seconds, uint64_t seed) {
    struck s = {.rate = rate, .seconds = seconds, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, seed);
    return s;
}

/* Neighbours from `from` to `to` meet; returns the width they cover. */
static double tile(const lay_envelope_spectrum *e, size_t from, size_t to) {
    for (size_t b = from + 1; b < to; b++) assert_close(e->bands[b].low_hz, e->bands[b - 1].high_hz, 1e-6, 0);
    return e->bands[to - 1].high_hz - e->bands[from].low_hz;
}

/* ---- where they lie ---- */

/* Windows of 2 ms have bins of 500 Hz; from the first above 700 Hz to 0.47 of the rate, each as wide as its bins. The
 * window has the number of samples nearest to that with no prime factor above 5, which shifts the edges by 2 per cent.
 */
static void bands_lie_side_by_side(void **state) {
    (void)state;
    static const struct {
        double rate, low, high;
        size_t elementary, samples;
    } cases[] = {{6000, 750, 2750, 4, 12},     {12000, 750, 5750, 10, 24},  {16000, 750, 7750, 14, 32},
                 {44100, 735, 20825, 41, 90},  {48000, 750, 22750, 44, 96}, {51200, 768, 24320, 46, 100},
                 {200000, 750, 94250, 58, 400}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struck s = noise_at(cases[i].rate, 1, 1);
        lay_envelope_spectrum e = struck_spectrum(&s);
        assert_int_equal(e.elementary, cases[i].elementary);
        assert_close(e.bands[0].low_hz, cases[i].low, 0.01, 0);
        assert_close(e.bands[e.elementary - 1].high_hz, cases[i].high, 0.1, 0);
        assert_close(tile(&e, 0, e.elementary), cases[i].high - cases[i].low, 0.1, 0);
        assert_true(e.bands[e.elementary - 1].high_hz < 0.5 * cases[i].rate);
        double step = cases[i].rate / (double)cases[i].samples;
        for (size_t b = 0; b < e.elementary; b++) {
            double width = (e.bands[b].high_hz - e.bands[b].low_hz) / step;
            if (e.bands[b].high_hz < 23900) assert_close(width, 1, 1e-9, 0);
            assert_close(width, round(width), 1e-9, 0);
        }
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

/* After the elementary bands come 1, 2, 3, 4, 6, 8, 12 ... unions, each division covering all Hz: the layout of the
 * fast kurtogram (Antoni, MSSP 21 (2007) 108, value from memory of the work), as far as a union holds two bands. */
static void unions_are_laid_out_as_a_kurtogram(void **state) {
    (void)state;
    static const size_t divisions[] = {1, 2, 3, 4, 6, 8, 12, 16};
    struck s = noise_at(48000, 1, 1);
    lay_envelope_spectrum e = struck_spectrum(&s);
    double all = tile(&e, 0, e.elementary);
    size_t at = e.elementary;
    for (size_t d = 0; d < 8; d++) {
        assert_close(tile(&e, at, at + divisions[d]), all, 1e-6, 0);
        for (size_t b = at; b < at + divisions[d]; b++)
            assert_true(e.bands[b].high_hz - e.bands[b].low_hz >= 2 * 500 - 1e-6);
        at += divisions[d];
    }
    assert_int_equal(e.band_count, at);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Noise of deviation 1 has a mean square of its width over half the rate in each band, in every channel; a tone of
 * amplitude 1 has 1/2 in the band that holds it with its neighbours. */
static void bands_know_their_power(void **state) {
    (void)state;
    for (int channels = 1; channels <= 2; channels++) {
        struck s = {.rate = 16000, .seconds = 8, .low_hz = 25, .high_hz = 25, .channels = channels};
        struck_make(&s, 1, 7);
        lay_envelope_spectrum e = struck_spectrum(&s);
        for (size_t b = 0; b < e.band_count; b++)
            assert_close(e.bands[b].power, channels * (e.bands[b].high_hz - e.bands[b].low_hz) / 8000, 0, 0.06);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
    struck s = {.rate = 16000, .seconds = 8, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 0.001, 7);
    struck_tone(&s, 4100, 1);
    lay_envelope_spectrum e = struck_spectrum(&s);
    assert_close(e.bands[e.elementary].power, 0.5, 0, 0.01);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

static void what_cannot_be_heard_is_an_error(void **state) {
    (void)state;
    lay_envelope_options o = {.rate = 5999, .channels = 1};
    lay_envelope *envelope = NULL;
    lay_shaft shaft = {0};
    lay_error err = {0};
    assert_int_equal(lay_shaft_constant(25, 10, &shaft, &err), LAY_OK);
    assert_int_equal(lay_envelope_new(&o, &shaft, &envelope, &err), LAY_BAD_INPUT);
    assert_null(envelope);
    assert_non_null(strstr(err.message, "16 kHz"));
    o.rate = NAN;
    assert_int_equal(lay_envelope_new(&o, &shaft, &envelope, &err), LAY_BAD_INPUT);
    lay_shaft_free(&shaft);
    o.rate = 48000;
    assert_int_equal(lay_envelope_new(&o, &shaft, &envelope, &err), LAY_BAD_INPUT);
    assert_null(envelope);
    assert_non_null(strstr(err.message, "turn"));
    lay_envelope_free(NULL);
    lay_envelope_spectrum_free(NULL);
}

/* ---- spectral kurtosis (Antoni 2006: K = <|c|^4> / <|c|^2>^2 - 2, formula from memory of the work) ---- */

static double mean_kurtosis(const lay_envelope_spectrum *e) {
    double sum = 0;
    for (size_t b = 0; b < e->elementary; b++) sum += e->bands[b].kurtosis / (double)e->elementary;
    return sum;
}

/* Its scatter is about 2 / sqrt(n) for n independent spectra (the same work): some 5000 in 12 s, so 0.03 in each band;
 * the cut of what one moment lifts the mean adds 0.01. */
static void gaussian_noise_has_none(void **state) {
    (void)state;
    static const double rates[] = {12000, 44100, 48000};
    for (int i = 0; i < 3; i++) {
        struck s = noise_at(rates[i], 12, 2);
        lay_envelope_spectrum e = struck_spectrum(&s);
        assert_close(mean_kurtosis(&e), 0.01, 0.02, 0);
        for (size_t b = 0; b < e.elementary; b++) assert_close(e.bands[b].kurtosis, 0, 0.15, 0);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

static void a_steady_tone_has_minus_one(void **state) {
    (void)state;
    struck s = noise_at(16000, 6, 3);
    struck_tone(&s, 3040, 50);
    lay_envelope_spectrum e = struck_spectrum(&s);
    assert_close(e.bands[struck_band(&e, 3040)].kurtosis, -1, 0.02, 0);
    assert_close(e.bands[struck_band(&e, 6000)].kurtosis, 0, 0.15, 0);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Noise heard on a fraction p of the time has 2 / p - 2. One moment may lift the running mean by six times itself at
 * most, so the mean m of energies x / p, x exponential, settles where m = <min(x, 6 p m)> = 1 - exp(-6 p m), and K = 2
 * / p / m^2 - 2: within a tenth of the published value down to p = 0.8, above it farther down, and without bound at a
 * sixth. */
static void bursts_have_two_over_p_less_two(void **state) {
    (void)state;
    static const double shares[] = {0.4, 0.5, 0.6, 0.8, 0.9};
    for (int i = 0; i < 5; i++) {
        double p = shares[i], m = 1;
        for (int k = 0; k < 200; k++) m = 1 - exp(-6 * p * m);
        struck s = noise_at(16000, 12, 4);
        for (size_t k = 0; k < s.frames; k++) {
            double period = (double)k / s.rate / 0.1;
            if (period - floor(period) >= p) s.x[k] = 0;
        }
        lay_envelope_spectrum e = struck_spectrum(&s);
        /* the window of 2 ms rounds the edges of bursts of 40 to 90 ms */
        assert_close(mean_kurtosis(&e), 2 / p / m / m - 2, 0.02, 0.06);
        if (p >= 0.8) assert_close(mean_kurtosis(&e), 2 / p - 2, 0.05, 0);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

/* ---- what falls silent ---- */

/* A tone that swings 10 % at order 5.48 does so no more in the band that it fills. */
static void a_tone_falls_silent(void **state) {
    (void)state;
    struck s = noise_at(16000, 12, 5);
    for (size_t i = 0; i < s.frames; i++) {
        double t = (double)i / s.rate, swing = 1 + 0.1 * cos(2 * LAY_PI * 137 * t);
        s.x[i] += 100 * swing * sin(2 * LAY_PI * 3000 * t);
    }
    lay_envelope_spectrum e = struck_spectrum(&s);
    size_t band = struck_band(&e, 3000);
    const float *row = e.ratio + band * e.bins;
    assert_close(e.bands[band].kurtosis, -1, 0.1, 0);
    for (size_t i = 0; i < e.bins; i++) assert_true(row[i] >= 0 && row[i] < 3);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* (1 + m cos w t) times a carrier has lines of amplitude 2 m at w and m^2 / 2 at 2 w in its squared envelope, and a
 * mean of 1 + m^2 / 2 (references: envelope analysis; arithmetic). The carrier is noise, since a pure tone falls
 * silent; noise of `added` times its power on top lifts the mean alone. Amplitudes come from the average over the turn
 * of order 1.25. */
static void swinging_noise_shows_both_its_lines(void **state) {
    (void)state;
    static const double added[] = {0, 1};
    const double m = 0.5, order = 1.25;
    for (int k = 0; k < 2; k++) {
        struck s = noise_at(48000, 24, 6);
        for (size_t i = 0; i < s.frames; i++) {
            double swing = 1 + m * cos(2 * LAY_PI * order * 25 * (double)i / s.rate);
            s.x[i] = swing * s.x[i] + sqrt(added[k]) * lay_random_normal(&s.random);
        }
        lay_envelope_spectrum e = {0};
        lay_envelope_options o = {.locked = &order, .locked_count = 1};
        assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
        double mean = 1 + m * m / 2 + added[k], line[2];
        for (size_t n = 0; n < 2; n++) {
            double re = 0, im = 0;
            for (size_t b = 0; b < e.elementary; b++) {
                re += (double)e.lines[b * LAY_LOCKED_LINES + n].re / (double)e.elementary;
                im += (double)e.lines[b * LAY_LOCKED_LINES + n].im / (double)e.elementary;
            }
            line[n] = hypot(re, im) * mean;
        }
        assert_close(line[0], 2 * m, 0, 0.03);
        assert_close(line[1], m * m / 2, 0.012, 0.03);
        /* the same in the spectra: powers as (4 / m)^2, over a floor that hardly slopes */
        size_t all = e.elementary;
        double apart = struck_ratio(&e, all, order, 0, NULL) / struck_ratio(&e, all, 2 * order, 0, NULL);
        assert_close(lay_db_power(apart), 20 * log10(4 / m), 2, 0);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bands_lie_side_by_side),
        cmocka_unit_test(unions_are_laid_out_as_a_kurtogram),
        cmocka_unit_test(bands_know_their_power),
        cmocka_unit_test(what_cannot_be_heard_is_an_error),
        cmocka_unit_test(gaussian_noise_has_none),
        cmocka_unit_test(a_steady_tone_has_minus_one),
        cmocka_unit_test(bursts_have_two_over_p_less_two),
        cmocka_unit_test(a_tone_falls_silent),
        cmocka_unit_test(swinging_noise_shows_both_its_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
