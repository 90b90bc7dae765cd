/* Spectra over time: levels, places, averaging, hostile input. */
#include <layshaft/speed.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>

#define RATE 8000.0

typedef double (*wave)(double t);

/* `seconds` of a wave, fed in blocks of odd lengths with a stride of 2. */
static lay_spectrogram map_of(wave x, double seconds, const lay_stft_options *o) {
    lay_stft *stft = NULL;
    lay_spectrogram map = {0};
    lay_error err = {0};
    static double block[2 * 777];
    assert_int_equal(lay_stft_new(o, &stft, &err), LAY_OK);
    size_t total = (size_t)(seconds * o->rate + 0.5);
    for (size_t i = 0; i < total;) {
        size_t n = total - i < 777 ? total - i : 777;
        for (size_t k = 0; k < n; k++) {
            block[2 * k] = x((double)(i + k) / o->rate);
            block[2 * k + 1] = 1e3;
        }
        lay_stft_feed(stft, block, 2, n);
        i += n;
    }
    assert_int_equal(lay_stft_finish(stft, &map, &err), LAY_OK);
    lay_stft_free(stft);
    return map;
}

static double sine(double t) {
    return 0.7 * sin(2 * LAY_PI * 1000 * t + 0.3);
}

/* From 300 to 1500 Hz in 10 s; frequency by hand: f = 300 + 120 t. */
static double chirp(double t) {
    return sin(2 * LAY_PI * (300 * t + 60 * t * t));
}

/* Strongest place of a column by a parabola through the levels in dB about the highest bin. */
static double peak_hz(const lay_spectrogram *m, size_t column) {
    const double *p = m->power + column * m->bins;
    size_t best = 1;
    for (size_t b = 1; b + 1 < m->bins; b++)
        if (p[b] > p[best]) best = b;
    double a = log(p[best - 1]), b = log(p[best]), c = log(p[best + 1]);
    return m->step_hz * ((double)best + 0.5 * (a - c) / (a - 2 * b + c));
}

/* Mean square of a sine of peak 0.7 is 0.245, whatever the averaging: 197 spectra in 8, 32 or as many columns. */
static void test_level(void **state) {
    (void)state;
    static const size_t columns[] = {8, 32, 512};
    for (size_t i = 0; i < 3; i++) {
        lay_spectrogram m = map_of(sine, 5, &(lay_stft_options){RATE, 0.1, 0, columns[i]});
        size_t bin = (size_t)lround(1000 / m.step_hz);
        assert_close((double)bin * m.step_hz, 1000, 1e-9, 0);
        assert_int_equal(m.columns, i == 0 ? 6 : i == 1 ? 25 : 197);
        for (size_t c = 0; c < m.columns; c++) assert_close(m.power[c * m.bins + bin], 0.245, 0, 1e-6);
        lay_spectrogram_free(&m);
    }
}

/* The highest place of every column follows the instantaneous frequency at the column's time: the chirp is linear, so a
 * column of several spectra is centred on it too. */
static void test_chirp(void **state) {
    (void)state;
    static const size_t columns[] = {64, 1000};
    for (size_t i = 0; i < 2; i++) {
        lay_spectrogram m = map_of(chirp, 10, &(lay_stft_options){RATE, 0.06, 2000, columns[i]});
        assert_true(m.columns > 30);
        assert_close(m.step_hz * (double)(m.bins - 1), 2000, m.step_hz, 0);
        for (size_t c = 0; c < m.columns; c++) {
            double t = m.start_s + (double)c * m.step_s;
            assert_close(peak_hz(&m, c), 300 + 120 * t, i == 0 ? 12 : 1, 0);
        }
        assert_close(m.start_s + (double)(m.columns - 1) * m.step_s, 10, m.step_s + 0.06, 0);
        lay_spectrogram_free(&m);
    }
}

static double late_tone(double t) {
    return t < 7 ? 0 : sin(2 * LAY_PI * 500 * t);
}

/* What begins at 7 s is drawn from 7 s on, after many halvings too. */
static void test_time(void **state) {
    (void)state;
    for (size_t columns = 16; columns <= 1024; columns *= 4) {
        lay_spectrogram m = map_of(late_tone, 10, &(lay_stft_options){RATE, 0.05, 1000, columns});
        size_t bin = (size_t)lround(500 / m.step_hz);
        for (size_t c = 0; c < m.columns; c++) {
            double t = m.start_s + (double)c * m.step_s, reach = 0.025 + 0.5 * m.step_s;
            if (t < 7 - reach) assert_true(m.power[c * m.bins + bin] < 1e-9);
            if (t > 7 + reach) assert_close(m.power[c * m.bins + bin], 0.5, 0, 1e-3);
        }
        lay_spectrogram_free(&m);
    }
}

static double broken(double t) {
    return fmod(t, 0.01) < 1e-4 ? NAN : t > 1 && t < 1.1 ? INFINITY : 0.1;
}

static void test_hostile_samples(void **state) {
    (void)state;
    lay_spectrogram m = map_of(broken, 2, &(lay_stft_options){RATE, 0.05, 0, 100});
    for (size_t i = 0; i < m.columns * m.bins; i++) assert_true(isfinite(m.power[i]));
    lay_spectrogram_free(&m);
}

static void test_short(void **state) {
    (void)state;
    lay_spectrogram m = map_of(sine, 0.02, &(lay_stft_options){RATE, 0.1, 0, 100});
    assert_int_equal(m.columns, 1);
    assert_true(m.power[(size_t)lround(1000 / m.step_hz)] > 0);
    lay_spectrogram_free(&m);
}

static void test_refusals(void **state) {
    (void)state;
    static const lay_stft_options bad[] = {{0, 0.1, 0, 100},     {NAN, 0.1, 0, 100}, {RATE, 0, 0, 100},
                                           {RATE, 1e9, 0, 100},  {RATE, 0.1, 0, 1},  {RATE, NAN, 0, 100},
                                           {48000, 10, 0, 1000}, {RATE, -1, 0, 100}};
    lay_error err;
    lay_spectrogram map;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        lay_stft *stft = NULL;
        assert_int_equal(lay_stft_new(&bad[i], &stft, &err), LAY_BAD_INPUT);
        assert_null(stft);
    }
    lay_stft *empty = NULL;
    assert_int_equal(lay_stft_new(&(lay_stft_options){RATE, 0.1, 0, 2}, &empty, &err), LAY_OK);
    assert_int_equal(lay_stft_finish(empty, &map, &err), LAY_BAD_INPUT);
    lay_stft_free(empty);
    lay_stft_free(NULL);
    lay_spectrogram_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_level), cmocka_unit_test(test_chirp),
                                       cmocka_unit_test(test_time),  cmocka_unit_test(test_hostile_samples),
                                       cmocka_unit_test(test_short), cmocka_unit_test(test_refusals)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
