/* The tach: from constructed pulse signals to the angle that made them. */
#include <layshaft/speed.h>

#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 48000.0

typedef struct wheel {
    double low_hz, high_hz, seconds; /* linear run-up */
    double pulses;                   /* per turn */
    double width;                    /* of a pulse, share of its pitch */
    double gain, offset;             /* negative gain: upside down */
    double noise;                    /* of the swing */
    int lost_each, doubled_each;     /* every so many pulses, 0 never */
    double runout;                   /* spacing error once per turn, in turns */
    int gap;                         /* teeth missing from each turn */
    bool bipolar;                    /* inductive pickup: height follows speed */
    double body_order;
    double stop_at, stop_for; /* seconds: standstill */
} wheel;

static double turns_at(const wheel *w, double t) {
    double run = t;
    if (w->stop_for > 0 && t > w->stop_at) run = t < w->stop_at + w->stop_for ? w->stop_at : t - w->stop_for;
    return w->low_hz * run + 0.5 * (w->high_hz - w->low_hz) / w->seconds * run * run;
}

static bool is_lost(const wheel *w, double number) {
    if (w->lost_each > 0 && fmod(number, w->lost_each) == w->lost_each - 1) return true;
    return w->gap > 0 && fmod(number, w->pulses) >= w->pulses - w->gap;
}

/* Pulse edges rounded like those of a real pickup: some 20 us, by averaging over four places in a sample. */
static double pulse_at(const wheel *w, double t) {
    double sum = 0, speed = w->low_hz + (w->high_hz - w->low_hz) * t / w->seconds;
    for (int k = 0; k < 4; k++) {
        double turns = turns_at(w, t + (k - 1.5) / 4 / RATE) * w->body_order;
        turns += w->runout * sin(2 * LAY_PI * turns);
        double at = turns * w->pulses, number = floor(at), phase = at - number;
        if (is_lost(w, number)) continue;
        if (w->doubled_each > 0 && fmod(number, w->doubled_each) == 1 && phase > 0.35 && phase < 0.38) sum += 0.25;
        if (w->bipolar)
            sum += phase < w->width ? 0.25 * sin(2 * LAY_PI * phase / w->width) * speed / w->high_hz : 0;
        else if (phase < w->width)
            sum += 0.25;
    }
    return sum;
}

static lay_status run(const wheel *w, double told_pulses, lay_shaft *shaft, lay_error *err) {
    lay_tach_options o = {.rate = RATE, .pulses_per_rev = told_pulses, .body_order = w->body_order};
    lay_tach *tach = NULL;
    lay_random random;
    lay_random_seed(&random, 11);
    lay_status status = lay_tach_new(&o, &tach, err);
    size_t total = (size_t)(w->seconds * RATE);
    for (size_t i = 0; i < total && status == LAY_OK; i++) {
        double x = w->offset + w->gain * (pulse_at(w, (double)i / RATE) + w->noise * lay_random_normal(&random));
        status = lay_tach_feed(tach, &x, 1, 1, err);
    }
    if (status == LAY_OK) status = lay_tach_finish(tach, shaft, err);
    lay_tach_free(tach);
    return status;
}

/* Largest departure of the angle, in turns, once the unknown start is taken off. */
static double angle_error(const wheel *w, const lay_shaft *s, double *covered) {
    /* the angle is known from the first pulse to the last */
    double slowest = fmin(w->low_hz, w->high_hz) * w->body_order * w->pulses, first = fmax(0.2, 2.1 / slowest),
           tail = first;
    double mean = 0, worst = 0, n = 0, turns, hz;
    size_t hint = 0, all = 0;
    for (double t = first; t < w->seconds - tail; t += 0.001, all++)
        if (lay_shaft_at(s, t, &hint, &turns, &hz)) {
            mean += turns - turns_at(w, t);
            n++;
        }
    mean /= fmax(n, 1);
    hint = 0;
    for (double t = first; t < w->seconds - tail; t += 0.001)
        if (lay_shaft_at(s, t, &hint, &turns, &hz)) worst = fmax(worst, fabs(turns - turns_at(w, t) - mean));
    *covered = n / (double)all;
    return worst;
}

static void follow(const char *name, wheel w, double limit, int missing, int extra) {
    lay_shaft s = {0};
    lay_error err = {0};
    double covered = 0;
    lay_status status = run(&w, w.pulses, &s, &err);
    if (status != LAY_OK) print_error("%s: %s\n", name, err.message);
    assert_int_equal(status, LAY_OK);
    double worst = angle_error(&w, &s, &covered);
    printf("  %-42s angle error %9.2e turns, missing %d, extra %d, confidence %.2f, %zu knots, covered %.3f\n", name,
           worst, s.missing_pulses, s.extra_pulses, s.confidence, s.count, covered);
    int found_missing = s.missing_pulses, found_extra = s.extra_pulses;
    double knots_per_second = (double)s.count / w.seconds;
    lay_shaft_free(&s);
    assert_true(worst < limit);
    assert_true(covered > 0.98);
    assert_true(knots_per_second < 110);
    if (missing >= 0) assert_true(abs(found_missing - missing) <= 2);
    if (extra >= 0) assert_true(abs(found_extra - extra) <= 2);
}

static wheel plain(void) {
    return (wheel){.low_hz = 30, .high_hz = 30, .seconds = 10, .pulses = 1, .width = 0.1, .gain = 1, .body_order = 1};
}

static void steady(void **state) {
    (void)state;
    wheel w = plain();
    follow("1 pulse, 1800 rpm", w, 5e-4, 0, 0);
    w.gain = -0.01, w.offset = 3;
    follow("upside down, small, on an offset", w, 5e-4, 0, 0);
    w = plain(), w.noise = 0.05;
    follow("noise of 5 % of the swing", w, 1e-3, 0, 0);
    w = plain(), w.width = 0.01;
    follow("one narrow mark", w, 5e-4, 0, 0);
    w = plain(), w.body_order = 0.6389;
    follow("tach on the countershaft", w, 1e-3, 0, 0);
}

static void run_up(void **state) {
    (void)state;
    wheel w = plain();
    w.low_hz = 10, w.high_hz = 100;
    follow("1 pulse, 600 -> 6000 rpm in 10 s", w, 1e-3, 0, 0);
    w.bipolar = true;
    follow("inductive, height as speed", w, 1e-3, 0, 0);
    w = plain(), w.low_hz = 100, w.high_hz = 10;
    follow("coast down 6000 -> 600 rpm", w, 1e-3, 0, 0);
    w = plain(), w.low_hz = 0.7, w.high_hz = 0.7, w.seconds = 40;
    follow("42 rpm", w, 1e-3, 0, 0);
}

static void many_pulses(void **state) {
    (void)state;
    wheel w = plain();
    w.pulses = 60, w.width = 0.5;
    follow("60 pulses", w, 2e-4, 0, 0);
    w.pulses = 12.5;
    follow("12.5 pulses", w, 2e-4, 0, 0);
    w.pulses = 3600, w.low_hz = 2, w.high_hz = 4;
    follow("3600 pulses, 120 -> 240 rpm", w, 2e-4, 0, 0);
    w.pulses = 36, w.low_hz = 10, w.high_hz = 60, w.gap = 1;
    follow("36 - 1 wheel, 600 -> 3600 rpm", w, 5e-4, -1, 0);
    w.pulses = 60, w.gap = 2;
    follow("60 - 2 wheel, 600 -> 3600 rpm", w, 5e-4, -1, 0);
    w = plain(), w.pulses = 24, w.width = 0.5, w.runout = 2e-3;
    follow("24 slots, spaced unevenly by 2e-3 turns", w, 3e-4, 0, 0);
}

static void healing(void **state) {
    (void)state;
    wheel w = plain();
    w.lost_each = 37;
    follow("every 37th pulse lost", w, 1e-3, 8, 0);
    w = plain(), w.doubled_each = 41;
    follow("every 41st pulse double", w, 1e-3, 0, 8);
    w = plain(), w.lost_each = 37, w.doubled_each = 41, w.low_hz = 10, w.high_hz = 60, w.noise = 0.03;
    follow("both in a run-up with noise", w, 2e-3, -1, -1);
    w = plain(), w.pulses = 60, w.width = 0.5, w.lost_each = 501;
    follow("60 pulses, every 501st lost", w, 1e-3, 36, 0);
}

/* A standstill parts the shaft in two segments and nothing bridges it. */
static void stops(void **state) {
    (void)state;
    wheel w = plain();
    w.pulses = 4, w.stop_at = 4, w.stop_for = 3;
    lay_shaft s = {0};
    lay_error err = {0};
    double turns, hz;
    assert_int_equal(run(&w, 4, &s, &err), LAY_OK);
    assert_int_equal(s.segment_count, 2);
    assert_false(lay_shaft_at(&s, 5.5, NULL, &turns, &hz));
    assert_true(lay_shaft_at(&s, 3, NULL, &turns, &hz));
    assert_close(hz, 30, 0, 1e-3);
    assert_true(lay_shaft_at(&s, 9, NULL, &turns, &hz));
    assert_close(hz, 30, 0, 1e-3);
    lay_shaft_free(&s);
}

/* What is no tach gives a sentence, never a shaft that looks sure of itself. */
static void no_tach(void **state) {
    (void)state;
    lay_error err = {0};
    lay_tach_options o = {.rate = RATE, .pulses_per_rev = 1, .body_order = 1};
    for (int kind = 0; kind < 5; kind++) {
        lay_tach *tach = NULL;
        lay_shaft s = {0};
        lay_random r;
        lay_random_seed(&r, 5);
        assert_int_equal(lay_tach_new(&o, &tach, &err), LAY_OK);
        for (int i = 0; i < 5 * 48000; i++) {
            double x = kind == 0 ? 0 : kind == 1 ? NAN : kind == 2 ? 1e300 * (i % 2 ? 1 : -1) : lay_random_normal(&r);
            if (kind == 4) x = i == 1000 ? 1 : 0;
            assert_int_equal(lay_tach_feed(tach, &x, 1, 1, &err), LAY_OK);
        }
        lay_status status = lay_tach_finish(tach, &s, &err);
        printf("  kind %d: status %d confidence %.2f, %s\n", kind, (int)status, s.confidence,
               status == LAY_OK ? "" : err.message);
        if (status == LAY_OK)
            assert_true(s.confidence < 0.5);
        else
            assert_int_equal(status, LAY_BAD_INPUT);
        lay_shaft_free(&s);
        lay_tach_free(tach);
    }
}

/* Twice the sample rate or a hundred times the gain changes nothing but rounding. */
static void gain(void **state) {
    (void)state;
    wheel w = plain();
    lay_shaft a = {0}, b = {0};
    lay_error err = {0};
    assert_int_equal(run(&w, 1, &a, &err), LAY_OK);
    w.gain = 512;
    assert_int_equal(run(&w, 1, &b, &err), LAY_OK);
    assert_int_equal(a.count, b.count);
    for (size_t i = 0; i < a.count; i++) assert_close(b.time[i], a.time[i], 1e-12, 0);
    lay_shaft_free(&a);
    lay_shaft_free(&b);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steady), cmocka_unit_test(run_up),  cmocka_unit_test(many_pulses), cmocka_unit_test(healing),
        cmocka_unit_test(stops),  cmocka_unit_test(no_tach), cmocka_unit_test(gain),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
