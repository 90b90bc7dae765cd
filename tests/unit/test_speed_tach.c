/* The tach: from constructed pulse signals to the angle that made them. */
#include <layshaft/speed.h>

#include "speed/choose.h"
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
    double doubled_at;               /* of the pitch; 0: 0.35, else the pulse after the double one may be a lost one */
    double blip_s;                   /* doubles its speed and halves it again, each within so long; 0 never */
    double runout;                   /* spacing error once per turn, in turns */
    int gap;                         /* teeth missing from each turn */
    bool bipolar;                    /* inductive pickup: height follows speed */
    double body_order;
    double stop_at, stop_for; /* seconds: standstill */
} wheel;

static double turns_at(const wheel *w, double t) {
    double run = t;
    if (w->stop_for > 0 && t > w->stop_at) run = t < w->stop_at + w->stop_for ? w->stop_at : t - w->stop_for;
    if (w->blip_s > 0) return w->low_hz * (1.5 * t - 0.5 * w->blip_s / LAY_PI * sin(LAY_PI * t / w->blip_s));
    return w->low_hz * run + 0.5 * (w->high_hz - w->low_hz) / w->seconds * run * run;
}

static double hz_at(const wheel *w, double t) {
    if (w->blip_s > 0) return w->low_hz * (1.5 - 0.5 * cos(LAY_PI * t / w->blip_s));
    double run = w->stop_for > 0 && t > w->stop_at ? t - w->stop_for : t;
    return w->low_hz + (w->high_hz - w->low_hz) / w->seconds * run;
}

static bool is_lost(const wheel *w, double number) {
    if (w->lost_each > 0 && fmod(number, w->lost_each) == w->lost_each - 1) return true;
    return w->gap > 0 && fmod(number, w->pulses) >= w->pulses - w->gap;
}

static bool is_doubled(const wheel *w, double number, double phase) {
    double at = w->doubled_at > 0 ? w->doubled_at : 0.35;
    if (w->doubled_each == 0 || phase < at || phase > at + 0.03) return false;
    return fmod(number, w->doubled_each) == (w->doubled_at > 0 ? w->doubled_each - 2 : 1);
}

/* Pulse edges rounded like those of a real pickup: some 20 us, by averaging over four places in a sample. */
static double pulse_at(const wheel *w, double t) {
    double sum = 0, speed = w->low_hz + (w->high_hz - w->low_hz) * t / w->seconds;
    for (int k = 0; k < 4; k++) {
        double turns = turns_at(w, t + (k - 1.5) / 4 / RATE) * w->body_order;
        turns += w->runout * sin(2 * LAY_PI * turns);
        double at = turns * w->pulses, number = floor(at), phase = at - number;
        if (is_lost(w, number)) continue;
        if (is_doubled(w, number, phase)) sum += 0.25;
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

/* Largest relative error of the speed between two times; NaN where there is none. */
static double speed_error(const wheel *w, const lay_shaft *s, double from, double to) {
    double worst = 0, turns, hz;
    for (double t = from; t < to; t += 0.003) {
        if (!lay_shaft_at(s, t, NULL, &turns, &hz)) return NAN;
        worst = fmax(worst, fabs(hz / hz_at(w, t) - 1));
    }
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
    double confidence = s.confidence;
    double knots_per_second = (double)s.count / w.seconds;
    lay_shaft_free(&s);
    assert_true(worst < limit);
    assert_true(covered > 0.98);
    assert_true(confidence >= 0.9);
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

/* Truth: the speed of the wheel above. A double pulse after 0.66 of a turn looks more like the next pulse than a slip.
 */
static void late_doubles(void **state) {
    (void)state;
    static const struct {
        double at;
        int lost_each;
        bool run_up;
    } cases[] = {{0.45, 0, false}, {0.55, 0, false}, {0.66, 0, false},  {0.78, 0, false},
                 {0.66, 0, true},  {0.5, 23, false}, {0.66, 23, false}, {0.75, 23, true}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        wheel w = plain();
        w.doubled_each = 23, w.doubled_at = cases[i].at, w.lost_each = cases[i].lost_each;
        if (cases[i].run_up) w.low_hz = 15, w.high_hz = 45;
        lay_shaft s = {0};
        lay_error err = {0};
        assert_int_equal(run(&w, 1, &s, &err), LAY_OK);
        double off = speed_error(&w, &s, 0.3, 9.7), confidence = s.confidence;
        printf("  double at %.2f, %s: speed off by %.1e, missing %d, extra %d, confidence %.2f\n", cases[i].at,
               cases[i].lost_each ? "next one lost" : "none lost", off, s.missing_pulses, s.extra_pulses, confidence);
        int doubles = (int)(turns_at(&w, w.seconds) + 1) / 23;
        int extra = s.extra_pulses, missing = s.missing_pulses;
        lay_shaft_free(&s);
        assert_close(off, 0, 1e-3, 0);
        assert_in_range(extra, doubles - 1, doubles + 1);
        assert_in_range(missing + 1, cases[i].lost_each ? doubles : 1, cases[i].lost_each ? doubles + 2 : 1);
        assert_true(confidence >= 0.9);
    }
}

/* What edges are pulses, on times made by hand. */
static void choice(void **state) {
    (void)state;
    static const double t[] = {0, 1, 2, 2.66, 3, 4, 5, 5.5, 7, 8, 9, 10.3, 10.7, 11, 12};
    static const uint8_t expected[] = {LAY_CHOSEN_FRESH, 1, 1, 0, 1, 1, 1, 0, 2, 1, 1, 0, 0, 2, 1};
    uint8_t steps[15];
    lay_error err = {0};
    assert_int_equal(lay_choose_pulses(t, 15, 0, steps, &err), LAY_OK);
    for (size_t i = 0; i < 15; i++) assert_int_equal(steps[i], expected[i]);
    assert_int_equal(lay_choose_pulses(t + 2, 13, 1, steps, &err), LAY_OK); /* the first is known */
    for (size_t i = 1; i < 13; i++) assert_int_equal(steps[i], expected[i + 2]);
}

/* Truth: the doubling and halving of speed within 0.4 s that only an engine without load can do. */
static void blips(void **state) {
    (void)state;
    static const struct { double hz, pulses, limit; } cases[] = {{40, 1, 5e-3}, {15, 4, 5e-3}, {15, 60, 2e-3}};
    for (size_t i = 0; i < 3; i++) {
        wheel w = plain();
        w.low_hz = w.high_hz = cases[i].hz, w.pulses = cases[i].pulses, w.blip_s = 0.4, w.noise = 0.01;
        if (w.pulses > 8) w.width = 0.5;
        lay_shaft s = {0};
        lay_error err = {0};
        assert_int_equal(run(&w, w.pulses, &s, &err), LAY_OK);
        double off = speed_error(&w, &s, 0.3, 9.7), confidence = s.confidence;
        printf("  %g pulses, from %g Hz: speed off by %.1e, confidence %.2f\n", w.pulses, w.low_hz, off, confidence);
        lay_shaft_free(&s);
        assert_close(off, 0, cases[i].limit, 0);
        assert_true(confidence >= 0.9);
    }
}

/* While a shaft stands, the channel holds noise, and noise has edges: there must be a gap, and nothing counted there.
 */
static void noise_at_standstill(void **state) {
    (void)state;
    for (int kind = 0; kind < 6; kind++) {
        wheel w = plain();
        w.pulses = (double[]){1, 4, 60}[kind % 3], w.noise = 0.01, w.seconds = 14;
        if (w.pulses > 8) w.width = 0.5;
        w.stop_at = kind < 3 ? 0 : 4, w.stop_for = kind < 3 ? 2.5 : 6;
        lay_shaft s = {0};
        lay_error err = {0};
        double turns, hz, low, mean, high, from = w.stop_at, to = w.stop_at + w.stop_for;
        assert_int_equal(run(&w, w.pulses, &s, &err), LAY_OK);
        for (double t = from + 0.05; t < to - 0.05; t += 0.01) assert_false(lay_shaft_at(&s, t, NULL, &turns, &hz));
        double off = fmax(speed_error(&w, &s, to + 0.3, 13.7), from > 0 ? speed_error(&w, &s, 0.3, from - 0.3) : 0);
        lay_shaft_range(&s, &low, &mean, &high, &turns);
        printf("  %g pulses: speed off by %.1e, highest %.1f Hz, missing %d, extra %d, confidence %.2f\n", w.pulses,
               off, high, s.missing_pulses, s.extra_pulses, s.confidence);
        bool sure = s.confidence >= 0.9, quiet = s.missing_pulses + s.extra_pulses <= 8;
        lay_shaft_free(&s);
        assert_close(off, 0, 2e-3, 0);
        assert_close(high, 30, 0,
                     5e-2); /* until the comparator knows the new swing its edges are rough, never far off */
        assert_true(sure && quiet);
    }
}

/* Noise of a tenth of the swing and magnets glued on by hand are still a tach. */
static void crude(void **state) {
    (void)state;
    wheel w = plain();
    w.noise = 0.1;
    follow("noise of 10 % of the swing", w, 2e-3, 0, 0);
    w = plain(), w.pulses = 3, w.runout = 0.03;
    follow("3 magnets off their place by up to 9 degrees", w, 5e-3, 0, 0);
    w = plain(), w.pulses = 4, w.runout = 0.012;
    follow("4 magnets off their place by up to 4 degrees", w, 2e-3, 0, 0);
    w = plain(), w.pulses = 3600, w.width = 0.5, w.low_hz = w.high_hz = RATE / 13 / 3600;
    follow("3600 pulses, 13 samples each", w, 2e-4, 0, 0);
}

/* Pulses that come and go at random: when there is a shaft at all, it must not be called sure. */
static void broken_tach(void **state) {
    (void)state;
    lay_tach_options o = {.rate = RATE, .pulses_per_rev = 1, .body_order = 1};
    for (int kind = 0; kind < 3; kind++) {
        lay_tach *tach = NULL;
        lay_shaft s = {0};
        lay_error err = {0};
        lay_random r;
        lay_random_seed(&r, 3);
        assert_int_equal(lay_tach_new(&o, &tach, &err), LAY_OK);
        for (int i = 0, left = 0, wait = 100; i < 20 * 48000; i++) {
            double jitter = kind == 0 ? -log(1 - lay_random_unit(&r)) : (kind == 1 ? 0.3 : 0.5) + lay_random_unit(&r);
            if (wait-- == 0) left = 100, wait = 200 + (int)(1600 * jitter);
            double x = left-- > 0;
            assert_int_equal(lay_tach_feed(tach, &x, 1, 1, &err), LAY_OK);
        }
        lay_status status = lay_tach_finish(tach, &s, &err);
        printf("  kind %d: status %d confidence %.2f segments %zu\n", kind, (int)status, s.confidence, s.segment_count);
        double confidence = s.confidence;
        lay_shaft_free(&s);
        lay_tach_free(tach);
        assert_true(status == LAY_BAD_INPUT || confidence < 0.5);
    }
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
        cmocka_unit_test(steady),
        cmocka_unit_test(run_up),
        cmocka_unit_test(many_pulses),
        cmocka_unit_test(healing),
        cmocka_unit_test(stops),
        cmocka_unit_test(no_tach),
        cmocka_unit_test(gain),
        cmocka_unit_test(late_doubles),
        cmocka_unit_test(choice),
        cmocka_unit_test(blips),
        cmocka_unit_test(noise_at_standstill),
        cmocka_unit_test(crude),
        cmocka_unit_test(broken_tach),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
