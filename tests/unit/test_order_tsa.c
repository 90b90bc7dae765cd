/* The average turn of a body: what keeps step stays, what does not is combed out; angle zero; records; bad input. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 8000.0

typedef double (*signal_at)(double turns, double t, void *user);

/* A shaft from `from` to `to` turns per second, and a signal of its angle. */
typedef struct scene {
    double from, to, seconds;
    signal_at at;
    void *user;
} scene;

static double turns_at(const scene *s, double t) {
    return s->from * t + 0.5 * (s->to - s->from) / s->seconds * t * t;
}

static lay_shaft shaft_of(const scene *s) {
    lay_shaft shaft = {.count = 2, .segment_count = 1};
    shaft.time = lay_calloc(2, sizeof(double));
    shaft.turns = lay_calloc(2, sizeof(double));
    shaft.hz = lay_calloc(2, sizeof(double));
    shaft.segment_start = lay_calloc(1, sizeof(size_t));
    shaft.time[1] = s->seconds;
    shaft.turns[1] = turns_at(s, s->seconds);
    shaft.hz[0] = s->from;
    shaft.hz[1] = s->to;
    return shaft;
}

static lay_status average(const scene *s, const lay_tsa_options *options, lay_tsa_average *out, lay_error *err) {
    lay_shaft shaft = shaft_of(s);
    size_t frames = (size_t)(s->seconds * RATE);
    double *x = lay_calloc(frames, sizeof *x);
    for (size_t i = 0; i < frames; i++) x[i] = s->at(turns_at(s, (double)i / RATE), (double)i / RATE, s->user);
    lay_tsa *tsa = NULL;
    lay_status status = lay_tsa_new(options, &shaft, &tsa, err);
    for (size_t i = 0; i < frames && status == LAY_OK; i += 1000)
        status = lay_tsa_feed(tsa, x + i, frames - i < 1000 ? frames - i : 1000, err);
    if (status == LAY_OK) status = lay_tsa_finish(tsa, out, err);
    lay_tsa_free(tsa);
    lay_shaft_free(&shaft);
    free(x);
    return status;
}

static double amplitude(const lay_tsa_average *a, int line, double *phase) {
    double re = 0, im = 0;
    for (size_t i = 0; i < a->points; i++) {
        double angle = 2 * LAY_PI * line * (double)i / (double)a->points;
        re += a->mean[i] * cos(angle);
        im -= a->mean[i] * sin(angle);
    }
    *phase = atan2(im, re);
    return 2 * hypot(re, im) / (double)a->points;
}

static double two_meshes(double turns, double t, void *user) {
    (void)t;
    (void)user;
    return 0.7 * cos(2 * LAY_PI * 23 * turns + 0.4) + 0.1 * cos(2 * LAY_PI * 24 * turns) +
           3 * cos(2 * LAY_PI * 0.3 * turns);
}

/* On a sweep: level within 0.1 dB, phase within 2 degrees (wanted; here a hundredth of that). */
static void a_sweep_keeps_level_and_phase(void **state) {
    (void)state;
    const scene s = {15, 45, 20, two_meshes, NULL};
    const double order = 1;
    const lay_tsa_options o = {.rate = RATE, .channels = 1, .bodies = &order, .body_count = 1, .max_order = 60};
    lay_tsa_average a;
    assert_int_equal(average(&s, &o, &a, NULL), LAY_OK);
    double phase;
    assert_close(amplitude(&a, 23, &phase), 0.7, 0.7 * 0.0005, 0);
    assert_close(phase, 0.4, 0.001, 0);
    assert_close(amplitude(&a, 24, &phase), 0.1, 0.001, 0);
    assert_close(a.turns, 600, 1, 0);
    assert_close(a.max_order, 60, 0, 0);
    lay_tsa_average_free(&a);
}

/* The wheel of 36 turns 23/36 as fast: its own 36 per turn. */
static void another_body(void **state) {
    (void)state;
    const scene s = {20, 40, 15, two_meshes, NULL};
    const double orders[] = {1, 23.0 / 36};
    const lay_tsa_options o = {.rate = RATE, .channels = 1, .bodies = orders, .body_count = 2, .max_order = 60};
    lay_tsa_average a[2];
    assert_int_equal(average(&s, &o, a, NULL), LAY_OK);
    double phase;
    assert_close(amplitude(&a[1], 36, &phase), 0.7, 0.001, 0);
    assert_close(phase, 0.4, 0.002, 0);
    assert_close(amplitude(&a[0], 23, &phase), 0.7, 0.001, 0);
    for (int b = 0; b < 2; b++) lay_tsa_average_free(&a[b]);
}

static double one_order(double turns, double t, void *user) {
    (void)t;
    return cos(2 * LAY_PI * *(double *)user * turns);
}

/* Gain of the comb |sin(pi N x) / (N sin(pi x))| (Braun 1975, McFadden 1987, from memory); the points of references.md
 * section 4. What is not whole per turn shows as a tone that is not periodic in the average; its rms says how much is
 * left. */
static void what_does_not_keep_step_is_combed_out(void **state) {
    (void)state;
    const struct {
        int turns;
        double order, db;
    } points[] = {{7, 10.5, -16.902}, {50, 40.0 / 3, -33.979}, {100, 3.58478, -39.709}};
    for (size_t k = 0; k < 3; k++) {
        double order = points[k].order;
        const scene s = {20, 20, (points[k].turns + 0.5) / 20, one_order, &order};
        const double body = 1;
        const lay_tsa_options o = {.rate = RATE, .channels = 1, .bodies = &body, .body_count = 1, .max_order = 100};
        lay_tsa_average a;
        assert_int_equal(average(&s, &o, &a, NULL), LAY_OK);
        assert_close(a.turns, points[k].turns, 0, 0);
        assert_close(20 * log10(lay_rms(a.mean, a.points) * sqrt(2)), points[k].db, 0.35, 0);
        lay_tsa_average_free(&a);
    }
}

/* N = 60, order 8/3: an exact null, since 60 is a multiple of 3. */
static void a_whole_number_of_repeats_is_a_null(void **state) {
    (void)state;
    double order = 8.0 / 3;
    const scene s = {20, 20, 61.9 / 20, one_order, &order};
    const double body = 1;
    const size_t three = 3;
    const lay_tsa_options o = {
        .rate = RATE, .channels = 1, .bodies = &body, .body_count = 1, .max_order = 100, .whole = &three};
    lay_tsa_average a;
    assert_int_equal(average(&s, &o, &a, NULL), LAY_OK);
    assert_close(a.turns, 60, 0, 0);
    assert_true(lay_rms(a.mean, a.points) < 2e-4);
    lay_tsa_average_free(&a);
}

static double noise(double turns, double t, void *user) {
    (void)turns;
    (void)t;
    return lay_random_normal(user);
}

/* Random noise falls with the square root of the number of turns: 100 turns, 20 dB. */
static void noise_falls_with_the_root_of_the_turns(void **state) {
    (void)state;
    double rms[2];
    for (int k = 0; k < 2; k++) {
        lay_random random;
        lay_random_seed(&random, 9);
        const scene s = {20, 20, k ? 80.02 : 20.02, noise, &random};
        const double body = 1;
        const lay_tsa_options o = {.rate = RATE, .channels = 1, .bodies = &body, .body_count = 1, .max_order = 150};
        lay_tsa_average a;
        assert_int_equal(average(&s, &o, &a, NULL), LAY_OK);
        rms[k] = lay_rms(a.mean, a.points);
        assert_close(rms[k] * rms[k], 150.0 * 20 * 2 / RATE / a.turns, 0, 0.12);
        lay_tsa_average_free(&a);
    }
    assert_close(20 * log10(rms[0] / rms[1]), 6.02, 0.8, 0);
}

static double tick(double turns, double t, void *user) {
    (void)t;
    (void)user;
    double off = remainder(turns - 0.3, 1) * 40;
    return exp(-off * off);
}

/* Point 0 is where the body has made a whole number of turns, wherever the stretch begins. */
static void angle_zero_is_a_whole_turn(void **state) {
    (void)state;
    const scene s = {17.3, 31, 10, tick, NULL};
    const double body = 1;
    const lay_tsa_options o = {.rate = RATE, .channels = 1, .bodies = &body, .body_count = 1, .max_order = 100};
    lay_shaft shaft = shaft_of(&s);
    lay_tsa_average a;
    assert_int_equal(average(&s, &o, &a, NULL), LAY_OK);
    size_t most = 0;
    for (size_t i = 0; i < a.points; i++)
        if (a.mean[i] > a.mean[most]) most = i;
    assert_close((double)most / (double)a.points, 0.3, 1.0 / (double)a.points, 0);
    lay_tsa_average_free(&a);
    lay_shaft_free(&shaft);
}

static double growing(double turns, double t, void *user) {
    (void)user;
    return (t < 10 ? 1 : 2) * cos(2 * LAY_PI * 5 * turns);
}

static void records_follow_one_another(void **state) {
    (void)state;
    const scene s = {20, 20, 20.01, growing, NULL};
    const double body = 1;
    const lay_tsa_options o = {
        .rate = RATE, .channels = 1, .bodies = &body, .body_count = 1, .max_order = 50, .records = 4};
    lay_tsa_average a;
    assert_int_equal(average(&s, &o, &a, NULL), LAY_OK);
    assert_int_equal(a.records, 4);
    assert_close(a.record_turns, 100, 0, 0);
    const double expected[] = {1, 1, 2, 2};
    for (size_t r = 0; r < 4; r++)
        assert_close(lay_rms(a.record + r * a.points, a.points) * sqrt(2), expected[r], 0.02, 0);
    assert_close(a.power[0], 1.25, 0.01, 0);
    lay_tsa_average_free(&a);
}

static void what_cannot_be_averaged_is_said(void **state) {
    (void)state;
    double order = 3;
    const scene s = {20, 20, 0.19, one_order, &order};
    const double body = 1, still = 0;
    lay_tsa_average a;
    lay_error err = {0};
    lay_tsa_options o = {.rate = RATE, .channels = 1, .bodies = &body, .body_count = 1, .max_order = 50};
    assert_int_equal(average(&s, &o, &a, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "only 3 whole turns"));
    o.bodies = &still;
    assert_int_equal(average(&s, &o, &a, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "stands still"));
    lay_shaft none = {0};
    lay_tsa *tsa = NULL;
    o.bodies = &body;
    assert_int_equal(lay_tsa_new(&o, &none, &tsa, &err), LAY_BAD_INPUT);
    assert_null(tsa);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sweep_keeps_level_and_phase),
        cmocka_unit_test(another_body),
        cmocka_unit_test(what_does_not_keep_step_is_combed_out),
        cmocka_unit_test(a_whole_number_of_repeats_is_a_null),
        cmocka_unit_test(noise_falls_with_the_root_of_the_turns),
        cmocka_unit_test(angle_zero_is_a_whole_turn),
        cmocka_unit_test(records_follow_one_another),
        cmocka_unit_test(what_cannot_be_averaged_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
