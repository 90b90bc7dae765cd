/* What the order analyser promises, in physical units, against signals whose orders and levels are known exactly. */
#include <layshaft/order.h>

#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 48000.0

/* A linear run-up: turns(t) = low t + slope t^2 / 2, slope 0 for a steady run. */
typedef struct run_up {
    double low_hz, high_hz, seconds;
} run_up;

static double turns_at(const run_up *r, double t) {
    return r->low_hz * t + 0.5 * (r->high_hz - r->low_hz) / r->seconds * t * t;
}

static void exact_shaft(const run_up *r, lay_shaft *s) {
    size_t n = (size_t)(r->seconds * 50) + 2;
    *s = (lay_shaft){.count = n, .segment_count = 1, .confidence = 1};
    s->time = lay_calloc(n, sizeof(double));
    s->turns = lay_calloc(n, sizeof(double));
    s->hz = lay_calloc(n, sizeof(double));
    s->segment_start = lay_calloc(1, sizeof(size_t));
    assert_true(s->time && s->turns && s->hz && s->segment_start);
    for (size_t i = 0; i < n; i++) {
        double t = r->seconds * (double)i / (double)(n - 1);
        s->time[i] = t;
        s->turns[i] = turns_at(r, t);
        s->hz[i] = r->low_hz + (r->high_hz - r->low_hz) / r->seconds * t;
    }
}

typedef struct tone {
    double order, amplitude; /* peak */
    bool fixed;              /* `order` is a frequency in Hz instead */
} tone;

static lay_order_spectrum analyse(const run_up *r, const lay_shaft *shaft, const tone *tones, size_t count,
                                  double noise, double max_order, double resolution, lay_window window) {
    lay_order_options o = {.rate = RATE,
                           .channels = 1,
                           .max_order = max_order,
                           .resolution = resolution,
                           .window = window,
                           .overlap = 0.5,
                           .speed_classes = 8};
    lay_error err = {0};
    lay_order *order = NULL;
    lay_order_spectrum s = {0};
    lay_random random;
    double block[1000];
    lay_random_seed(&random, 7);
    assert_int_equal(lay_order_new(&o, shaft, &order, &err), LAY_OK);
    size_t total = (size_t)(r->seconds * RATE);
    for (size_t i = 0; i < total; i += 1000) {
        for (size_t k = 0; k < 1000; k++) {
            double t = (double)(i + k) / RATE, x = noise > 0 ? noise * lay_random_normal(&random) : 0;
            for (size_t j = 0; j < count; j++)
                x += tones[j].amplitude * sin(2 * LAY_PI * tones[j].order * (tones[j].fixed ? t : turns_at(r, t)));
            block[k] = x;
        }
        assert_int_equal(lay_order_feed(order, block, 1000, &err), LAY_OK);
    }
    assert_int_equal(lay_order_finish(order, &s, &err), LAY_OK);
    lay_order_free(order);
    return s;
}

/* Worst place and level of single tones at many places between bins. */
static void worst_of(const run_up *r, const char *name, const double *orders, size_t count, double noise,
                     double place_limit, double level_limit) {
    lay_shaft shaft;
    double worst_place = 0, worst_level = 0;
    exact_shaft(r, &shaft);
    for (size_t i = 0; i < count; i++) {
        tone one = {orders[i], sqrt(2.0), false};
        lay_order_spectrum s = analyse(r, &shaft, &one, 1, noise, 128, 1.0 / 64, LAY_WINDOW_HANN);
        lay_line line;
        lay_line_at(&s, orders[i], 3 * s.step, &line);
        worst_place = fmax(worst_place, fabs(line.order - orders[i]) / s.step);
        worst_level = fmax(worst_level, fabs(lay_db_power(line.power)));
        lay_order_spectrum_free(&s);
    }
    printf("  %-44s order error %8.5f bin   level error %7.4f dB\n", name, worst_place, worst_level);
    lay_shaft_free(&shaft);
    assert_true(worst_place < place_limit);
    assert_true(worst_level < level_limit);
}

static const double places[] = {1, 7.3, 17.25, 17.2578125, 23.0039, 39.87, 57.111, 81.4907, 99.9961, 100, 120.0061};
#define PLACES (sizeof places / sizeof places[0])

static void steady_tone(void **state) {
    (void)state;
    run_up r = {30.0, 30.0, 20};
    worst_of(&r, "steady 1800 rpm", places, PLACES, 0, 0.1, 0.1);
    worst_of(&r, "steady 1800 rpm, noise 20 dB above the tone", places, PLACES, 10, 0.1, 1.0);
}

static void run_up_tone(void **state) {
    (void)state;
    run_up r = {10, 100, 10};
    worst_of(&r, "600 -> 6000 rpm in 10 s", places, PLACES, 0, 0.1, 0.2);
}

static void odd_speed_tone(void **state) {
    (void)state;
    run_up r = {13.77, 13.77, 25}, slow = {3.1, 3.1, 60};
    worst_of(&r, "steady 826.2 rpm", places, PLACES, 0, 0.1, 0.1);
    worst_of(&slow, "steady 186 rpm", places, PLACES, 0, 0.1, 0.1);
}

/* Level must not depend on where in its bin a tone falls. */
static void scalloping(void **state) {
    (void)state;
    run_up r = {25, 25, 10};
    double orders[21];
    for (int i = 0; i <= 20; i++) orders[i] = 40 + i / 20.0 / 64;
    worst_of(&r, "twenty places across one bin", orders, 21, 0, 0.1, 0.1);
}

/* Largest bin, relative to the tone, more than `clear` orders away from `order`. */
static double worst_elsewhere(const lay_order_spectrum *s, double order, double clear, double *where) {
    double worst = 0;
    for (size_t i = 0; i < s->bins; i++) {
        double at = (double)i * s->step;
        if (fabs(at - order) > clear && s->power[i] > worst) {
            worst = s->power[i];
            *where = at;
        }
    }
    return lay_db_power(worst);
}

/* Blackman-Harris keeps its own leakage below -92 dB (Harris 1978), so that the resampler's shows. */
static void images_and_leakage(void **state) {
    (void)state;
    const double speeds[] = {100.0, 70.0, 47.3, 30.0, 17.9, 8.0};
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++) {
        for (double order = 10; order <= 120; order += 27.3) {
            run_up r = {speeds[i], speeds[i], 130 / speeds[i] + 1};
            lay_shaft shaft;
            double where = 0;
            tone one = {order, sqrt(2.0), false};
            exact_shaft(&r, &shaft);
            lay_order_spectrum s = analyse(&r, &shaft, &one, 1, 0, 128, 1.0 / 64, LAY_WINDOW_BLACKMAN_HARRIS);
            double worst = worst_elsewhere(&s, order, 8.0 / 64, &where);
            printf("  %5.1f turns/s, order %6.2f: largest elsewhere %7.2f dB at order %.2f\n", speeds[i], order, worst,
                   where);
            lay_order_spectrum_free(&s);
            lay_shaft_free(&shaft);
            assert_true(worst < -80);
        }
    }
}

/* A tone above the highest order, at many frequencies, must not come back below it. */
static void aliases(void **state) {
    (void)state;
    const double speeds[] = {100.0, 60.0, 41.7, 30.0, 17.9, 10.0};
    double worst_all = -200;
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++) {
        run_up r = {speeds[i], speeds[i], 70 / speeds[i] + 1};
        lay_shaft shaft;
        exact_shaft(&r, &shaft);
        for (double order = 130; order * speeds[i] < 0.95 * RATE / 2; order *= 1.11) {
            double where = 0;
            tone one = {order, sqrt(2.0), false};
            lay_order_spectrum s = analyse(&r, &shaft, &one, 1, 0, 128, 1.0 / 64, LAY_WINDOW_BLACKMAN_HARRIS);
            double worst = worst_elsewhere(&s, order, 8.0 / 64, &where);
            if (worst > -80)
                printf("  %5.1f turns/s, tone at order %.2f comes back at %.2f with %.1f dB\n", speeds[i], order, where,
                       worst);
            worst_all = fmax(worst_all, worst);
            lay_order_spectrum_free(&s);
        }
        lay_shaft_free(&shaft);
    }
    printf("  largest alias below the highest order %.1f dB\n", worst_all);
    assert_true(worst_all < -80);
}

/* Where part of a run-up lies above Nyquist the level is the mean over the rest only. */
static void above_nyquist(void **state) {
    (void)state;
    run_up r = {20, 150, 20};
    lay_shaft shaft;
    tone one = {200.3, sqrt(2.0), false};
    exact_shaft(&r, &shaft);
    lay_order_spectrum s = analyse(&r, &shaft, &one, 1, 0, 256, 1.0 / 64, LAY_WINDOW_HANN);
    lay_line line;
    lay_line_at(&s, one.order, 3 * s.step, &line);
    printf("  order 200.3, 1200 -> 9000 rpm, above Nyquist at the end: order error %.5f bin, level %.4f dB\n",
           fabs(line.order - one.order) / s.step, lay_db_power(line.power));
    double level = lay_db_power(line.power), place = fabs(line.order - one.order) / s.step;
    lay_order_spectrum_free(&s);
    lay_shaft_free(&shaft);
    assert_true(place < 0.1);
    assert_close(level, 0, 0.2, 0);
}

/* The floor of white noise of deviation 1: power per bin 2 hz enbw step / rate. */
static void white_floor(void **state) {
    (void)state;
    run_up r = {30, 30, 40};
    lay_shaft shaft;
    exact_shaft(&r, &shaft);
    lay_order_spectrum s = analyse(&r, &shaft, NULL, 0, 1, 128, 1.0 / 64, LAY_WINDOW_HANN);
    double expected = 2 * 30 / RATE * s.enbw * s.step, worst = 0, mean = 0;
    size_t n = 0;
    for (size_t i = 128; i < s.bins; i++, n++) {
        mean += s.floor[i];
        worst = fmax(worst, fabs(lay_db_power(s.floor[i] / expected)));
    }
    double bias = lay_db_power(mean / (double)n / expected);
    printf("  white noise: floor %.3f dB off in the mean, %.2f dB at worst\n", bias, worst);
    lay_order_spectrum_free(&s);
    lay_shaft_free(&shaft);
    assert_close(bias, 0, 0.1, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steady_tone),   cmocka_unit_test(run_up_tone),        cmocka_unit_test(odd_speed_tone),
        cmocka_unit_test(scalloping),    cmocka_unit_test(images_and_leakage), cmocka_unit_test(aliases),
        cmocka_unit_test(above_nyquist), cmocka_unit_test(white_floor),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
