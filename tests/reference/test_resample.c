/* The angle resampling at constant speed is rate conversion: judged by libsamplerate 0.2 (its best sinc converter, 145
 * dB by its documentation), whose output is averaged here with the plain formula of Welch 1967. */
#include <layshaft/order.h>

#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <samplerate.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 44100.0
#define TURNS 32
#define PER_TURN 512
#define SEGMENT ((size_t)TURNS * PER_TURN)
#define MAX_ORDER 100.0

/* Noise and three tones. */
static void make_signal(float *x, double *y, size_t n, double hz) {
    lay_random r;
    lay_random_seed(&r, 42);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / RATE, value = 0.02 * lay_random_normal(&r);
        value += 0.3 * sin(2 * LAY_PI * 17.25 * hz * t) + 0.1 * sin(2 * LAY_PI * 63.3 * hz * t);
        value += 0.2 * sin(2 * LAY_PI * 0.41 * RATE * t); /* above the highest order at low speed */
        x[i] = (float)value;
        y[i] = (double)x[i];
    }
}

static size_t judge(const float *x, size_t n, double hz, double *power, size_t bins) {
    size_t room = (size_t)((double)n * PER_TURN * hz / RATE) + 64, segments = 0;
    float *out = lay_calloc(room, sizeof *out);
    double *w = lay_calloc(SEGMENT, sizeof *w), *s = lay_calloc(SEGMENT, sizeof *s),
           *pairs = lay_calloc(SEGMENT + 2, sizeof *pairs);
    double gain = 0;
    lay_fft *fft = NULL;
    assert_true(out && w && s && pairs);
    SRC_DATA d = {.data_in = x,
                  .data_out = out,
                  .input_frames = (long)n,
                  .output_frames = (long)room,
                  .src_ratio = PER_TURN * hz / RATE};
    assert_int_equal(src_simple(&d, SRC_SINC_BEST_QUALITY, 1), 0);
    assert_int_equal(lay_fft_new(SEGMENT, &fft, NULL), LAY_OK);
    for (size_t i = 0; i < SEGMENT; i++) gain += w[i] = 0.5 - 0.5 * cos(2 * LAY_PI * (double)i / (double)SEGMENT);
    for (size_t first = 0; first + SEGMENT <= (size_t)d.output_frames_gen; first += SEGMENT / 2, segments++) {
        for (size_t i = 0; i < SEGMENT; i++) s[i] = w[i] * (double)out[first + i];
        lay_fft_forward(fft, s, pairs);
        for (size_t i = 0; i < bins; i++)
            power[i] += 2 * (pairs[2 * i] * pairs[2 * i] + pairs[2 * i + 1] * pairs[2 * i + 1]) / (gain * gain);
    }
    for (size_t i = 0; i < bins; i++) power[i] /= (double)segments;
    lay_fft_free(fft);
    free(out);
    free(w);
    free(s);
    free(pairs);
    return segments;
}

static void compare(double hz) {
    size_t n = (size_t)(20 * RATE), bins = (size_t)(MAX_ORDER * TURNS) + 1;
    float *x = lay_calloc(n, sizeof *x);
    double *y = lay_calloc(n, sizeof *y), *power = lay_calloc(bins, sizeof *power), worst = 0;
    assert_true(x && y && power);
    make_signal(x, y, n, hz);
    size_t segments = judge(x, n, hz, power, bins);
    lay_order_options o = {.rate = RATE,
                           .channels = 1,
                           .max_order = MAX_ORDER,
                           .resolution = 1.0 / TURNS,
                           .window = LAY_WINDOW_HANN,
                           .overlap = 0.5,
                           .speed_classes = 1};
    lay_shaft shaft = {0};
    lay_order *order = NULL;
    lay_order_spectrum s = {0};
    assert_int_equal(lay_shaft_constant(hz, 20, &shaft, NULL), LAY_OK);
    assert_int_equal(lay_order_new(&o, &shaft, &order, NULL), LAY_OK);
    assert_int_equal(lay_order_feed(order, y, n, NULL), LAY_OK);
    assert_int_equal(lay_order_finish(order, &s, NULL), LAY_OK);
    assert_int_equal(s.bins, bins);
    assert_true(s.segments + 1 >= segments && s.segments <= segments);
    /* the last segment may be missing from one of the two: compare only when both have it */
    for (size_t i = TURNS; s.segments == segments && i < bins; i++)
        worst = fmax(worst, fabs(lay_db_power(s.power[i] / power[i])));
    printf("  %.2f turns/s: %zu and %zu segments, bins up to order %g differ by at most %.4f dB\n", hz, s.segments,
           segments, MAX_ORDER, worst);
    assert_int_equal(s.segments, segments);
    assert_true(worst < 0.05);
    lay_order_spectrum_free(&s);
    lay_order_free(order);
    lay_shaft_free(&shaft);
    free(x);
    free(y);
    free(power);
}

static void several_speeds(void **state) {
    (void)state;
    const double speeds[] = {15.37, 31.41, 57.03, 89.1};
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++) compare(speeds[i]);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(several_speeds)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
