/* Aligning rpm logs to recordings: seeded random cases with known truth. The evidence is made by hand: a ridge where
 * the shaft turns, false ones at half and double speed, tones fixed in Hz, noise, and stretches without a ridge. */
#include "support/close.h"
#include "support/cmocka_all.h"

#include <layshaft/speed.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_READINGS = 16000 };

/* ---- a drive: speed over true time from -300 to 600 s, made of pieces ---- */

enum { DRIVE = 36000 };
static const double drive_from = -300, drive_step = 0.025;

typedef struct drive {
    double hz[DRIVE];
} drive;

static double drive_at(const drive *d, double t) {
    double x = fmin(fmax((t - drive_from) / drive_step, 0), DRIVE - 2);
    size_t i = (size_t)x;
    return d->hz[i] + (x - (double)i) * (d->hz[i + 1] - d->hz[i]);
}

/* Stretches of steady speed, sweeps of 3 to 20 s and idling, at random; smoothed by a lag of 0.3 s. */
static void make_drive(drive *d, lay_random *r) {
    double level = 30, target = 30, rate = 0, left = 0, smooth = 30;
    for (size_t i = 0; i < DRIVE; i++, left -= drive_step) {
        if (left <= 0) {
            left = lay_random_between(r, 3, 20);
            bool steady = lay_random_unit(r) < 0.25, idle = lay_random_unit(r) < 0.1;
            target = steady ? level : idle ? 13 : lay_random_between(r, 14, 75);
            rate = (target - level) / left;
        }
        level += rate * drive_step;
        smooth += (level - smooth) * drive_step / 0.3;
        d->hz[i] = smooth * (1 + 0.004 * sin(0.9 * (double)i * drive_step));
    }
}

/* ---- evidence ---- */

typedef struct scene {
    lay_speed_scores scores;
    float *score;
    double time[MOST_READINGS], hz[MOST_READINGS];
    lay_speed_log log;
    double offset, drift, overlap, sweep; /* truth; sweep: largest over smallest speed in the overlap, less 1 */
} scene;

static void add_ridge(scene *s, size_t f, double hz, double height) {
    double c = log(hz / s->scores.low_hz) / s->scores.step;
    for (double k = ceil(c - 2); k <= c + 2; k++)
        if (k >= 0 && k < (double)s->scores.candidates)
            s->score[f * s->scores.candidates + (size_t)k] += (float)(height * exp(-0.7 * (k - c) * (k - c)));
}

/* Exponential, as the power of one bin of noise; rows take pieces of it. */
enum { NOISE = 1 << 18 };
static float noise[NOISE];

static int make_noise(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 9);
    for (size_t i = 0; i < NOISE; i++) noise[i] = (float)(-log(1 - lay_random_unit(&r)));
    return 0;
}

static void make_scores(scene *s, const drive *d, double seconds, double height, lay_random *r) {
    s->scores = (lay_speed_scores){.hop_s = lay_random_between(r, 0.05, 0.25), .low_hz = 8};
    s->scores.step = 0.0025 * (1 << lay_random_int(r, 0, 2));
    s->scores.first_s = lay_random_between(r, 0, 0.3);
    s->scores.frames = (size_t)(seconds / s->scores.hop_s);
    s->scores.candidates = (size_t)(2.4 / s->scores.step);
    s->score = calloc(s->scores.frames * s->scores.candidates, sizeof *s->score);
    assert_non_null(s->score);
    s->scores.score = s->score;
    double half = lay_random_between(r, 0.3, 1), twice = lay_random_between(r, 0.3, 1), gain = 1;
    double hum = lay_random_between(r, 10, 60), missing = 0;
    for (size_t f = 0; f < s->scores.frames; f++) {
        double hz = drive_at(d, s->scores.first_s + (double)f * s->scores.hop_s);
        gain *= exp(0.1 * lay_random_normal(r));
        if (missing <= 0 && lay_random_unit(r) < 0.03) missing = lay_random_between(r, 0.2, 2);
        size_t at = (size_t)lay_random_int(r, 0, NOISE / 2);
        for (size_t c = 0; c < s->scores.candidates; c++) s->score[f * s->scores.candidates + c] = noise[at + c];
        add_ridge(s, f, hum, height);
        if ((missing -= s->scores.hop_s) <= 0) {
            add_ridge(s, f, hz, height * lay_random_between(r, 0.5, 1.5));
            add_ridge(s, f, hz / 2, half * height);
            add_ridge(s, f, 2 * hz, twice * height);
        }
        for (size_t c = 0; c < s->scores.candidates; c++) s->score[f * s->scores.candidates + c] *= (float)gain;
    }
}

/* A log of 1 to 20 readings per second, irregular, in steps of 0.25 rpm, from true time `from` on. */
static void make_log(scene *s, const drive *d, double from, double seconds, lay_random *r) {
    double rate = exp(lay_random_between(r, 0, log(20))), t = 0;
    s->drift = lay_random_between(r, -4e-4, 4e-4);
    s->offset = from;
    size_t n = 0;
    while (t < seconds && n < MOST_READINGS) {
        double rpm = 60 * drive_at(d, t * (1 + s->drift) + s->offset) * (1 + 0.002 * lay_random_normal(r));
        s->time[n] = t;
        s->hz[n++] = round(rpm * 4) / 240;
        t += lay_random_between(r, 0.6, 1.4) / rate;
    }
    s->log = (lay_speed_log){.time = s->time, .hz = s->hz, .count = n};
}

static void measure_truth(scene *s, const drive *d) {
    double low = INFINITY, high = 0, hz;
    s->overlap = 0;
    for (size_t f = 0; f < s->scores.frames; f++) {
        double t = s->scores.first_s + (double)f * s->scores.hop_s;
        if (!lay_log_at(&s->log, s->offset, s->drift, t, &hz)) continue;
        low = fmin(low, drive_at(d, t));
        high = fmax(high, drive_at(d, t));
        s->overlap += s->scores.hop_s;
    }
    s->sweep = s->overlap > 0 ? high / low - 1 : 0;
}

/* Largest error of the clock inside the recording. */
static double clock_error(const scene *s, const lay_log_fit *fit) {
    double worst = 0, hz;
    for (size_t f = 0; f < s->scores.frames; f++) {
        double t = s->scores.first_s + (double)f * s->scores.hop_s;
        if (!lay_log_at(&s->log, s->offset, s->drift, t, &hz)) continue;
        double own = (t - s->offset) / (1 + s->drift);
        worst = fmax(worst, fabs(own * (1 + fit->drift) + fit->offset_s - t));
    }
    return worst;
}

/* ---- random cases ---- */

typedef enum truth { OWN_LOG, LOG_OF_ANOTHER_DRIVE, NOTHING_RECORDED } truth;

static scene s;
static drive d, other;

/* Recordings of 8 to 200 s, logs of 8 to 300 s that share at least 70 % of the shorter one. */
static void make_case(uint64_t seed, truth kind) {
    lay_random r;
    lay_random_seed(&r, seed);
    make_drive(&d, &r);
    make_drive(&other, &r);
    double recorded = exp(lay_random_between(&r, log(8), log(200)));
    double logged = exp(lay_random_between(&r, log(8), log(300)));
    double shorter = fmin(recorded, logged);
    double from = lay_random_between(&r, -logged + 0.7 * shorter, recorded - 0.7 * shorter);
    double height = kind == OWN_LOG ? lay_random_between(&r, 1.5, 6) : kind == NOTHING_RECORDED ? 0 : 5;
    make_scores(&s, &d, recorded, height, &r);
    make_log(&s, kind == LOG_OF_ANOTHER_DRIVE ? &other : &d, from, logged, &r);
    measure_truth(&s, &d);
}

static lay_log_fit align(void) {
    lay_log_fit fit;
    lay_error err = {0};
    if (lay_log_align(&s.log, &s.scores, NULL, &fit, &err) != LAY_OK) fail_msg("%s", err.message);
    return fit;
}

static void sweeping_drives(void **state) {
    (void)state;
    int cases = 0, right = 0, sure = 0, steady_sure = 0;
    for (uint64_t seed = 1; seed <= 120; seed++) {
        make_case(seed, OWN_LOG);
        lay_log_fit fit = align();
        double error = clock_error(&s, &fit);
        if (error > 0.5 && fit.confidence >= 0.5) fail_msg("seed %d: %.2f s wrong and sure", (int)seed, error);
        assert_close(fit.drift, 0, 5.1e-4, 0);
        if (fit.flat) assert_true(fit.confidence <= 0.3);
        if (s.sweep > 0.2) {
            cases++;
            right += error <= 0.15;
            sure += fit.confidence >= 0.5;
            assert_close(fit.overlap_s, s.overlap, 0.6, 0);
        } else if (s.sweep < 0.03) {
            steady_sure += fit.confidence >= 0.5;
        }
        free(s.score);
    }
    print_message("sweeping: %d of %d within 0.15 s, %d sure; steady but sure: %d\n", right, cases, sure, steady_sure);
    assert_true(cases > 80);
    assert_true(right >= 0.98 * cases);
    assert_true(sure >= 0.9 * cases);
    assert_int_equal(steady_sure, 0);
}

static void count_sure(truth kind, int cases, int most) {
    int sure = 0;
    for (int i = 0; i < cases; i++) {
        make_case(1000 + (uint64_t)i, kind);
        sure += align().confidence >= 0.5;
        free(s.score);
    }
    print_message("sure of a wrong log: %d of %d\n", sure, cases);
    assert_true(sure <= most);
}

static void logs_of_other_drives(void **state) {
    (void)state;
    count_sure(LOG_OF_ANOTHER_DRIVE, 60, 3);
}

static void recordings_of_nothing(void **state) {
    (void)state;
    count_sure(NOTHING_RECORDED, 40, 0);
}

/* ---- cases of their own ---- */

/* A run-up of 10 s from 900 to 3600 rpm in a recording of 14 s. */
static void make_run_up(lay_random *r) {
    for (size_t i = 0; i < DRIVE; i++) {
        double t = drive_from + (double)i * drive_step;
        d.hz[i] = 15 * exp(log(4) * fmin(fmax((t - 2) / 10, 0), 1));
    }
    make_scores(&s, &d, 14, 4, r);
}

static void one_reading_per_second(void **state) {
    (void)state;
    for (int i = 0; i < 20; i++) {
        lay_random r;
        lay_random_seed(&r, 50 + (uint64_t)i);
        make_run_up(&r);
        double start = lay_random_between(&r, -20, 1);
        size_t n = 0;
        for (double t = 0; t + start < 14; t += 1, n++) {
            s.time[n] = t;
            s.hz[n] = drive_at(&d, t + start);
        }
        s.log = (lay_speed_log){.time = s.time, .hz = s.hz, .count = n};
        s.offset = start;
        s.drift = 0;
        lay_log_fit fit = align();
        assert_close(fit.offset_s, start, 0.15, 0);
        assert_true(fit.confidence > 0.5);
        assert_false(fit.flat);
        assert_true(fit.drift == 0); /* too short to tell */
        free(s.score);
    }
}

/* Ten minutes of a clock that is 0.04 % fast: 0.24 s at the end. */
static void drift_is_found(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 77);
    make_drive(&d, &r);
    make_scores(&s, &d, 580, 4, &r);
    s.drift = 4e-4;
    s.offset = -6;
    for (size_t i = 0; i < 6000; i++) {
        s.time[i] = 0.1 * (double)i;
        s.hz[i] = drive_at(&d, s.time[i] * (1 + s.drift) + s.offset);
    }
    s.log = (lay_speed_log){.time = s.time, .hz = s.hz, .count = 6000};
    lay_log_fit fit = align();
    assert_close(fit.drift, s.drift, 6e-5, 0);
    assert_close(clock_error(&s, &fit), 0, 0.03, 0);
    free(s.score);
}

static void steady_log_is_flat(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 3);
    for (size_t i = 0; i < DRIVE; i++) d.hz[i] = 35;
    make_scores(&s, &d, 20, 5, &r);
    for (int i = 0; i < 300; i++) {
        s.time[i] = 0.1 * i;
        s.hz[i] = 35 + 0.05 * lay_random_normal(&r);
    }
    s.log = (lay_speed_log){.time = s.time, .hz = s.hz, .count = 300};
    lay_log_fit fit = align();
    double hz = 0;
    assert_true(fit.flat);
    assert_true(fit.confidence <= 0.3);
    assert_true(lay_log_at(&s.log, fit.offset_s, fit.drift, 10, &hz));
    assert_close(hz, 35, 0.3, 0);
    free(s.score);
}

/* Rows on any scale of their own, and cells that are no number, change nothing of note. */
static void scale_of_rows_does_not_matter(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 11);
    make_case(21, OWN_LOG);
    lay_log_fit before = align();
    for (size_t f = 0; f < s.scores.frames; f++) {
        float factor = (float)exp(3 * lay_random_normal(&r)), shift = (float)lay_random_normal(&r);
        for (size_t c = 0; c < s.scores.candidates; c++) {
            float *x = &s.score[f * s.scores.candidates + c];
            *x = *x * factor + shift;
        }
        if (f % 7 == 0) s.score[f * s.scores.candidates + 200] = f % 2 ? NAN : INFINITY;
    }
    lay_log_fit after = align();
    assert_close(after.offset_s, before.offset_s, 0.03, 0);
    assert_close(after.confidence, before.confidence, 0.05, 0);
    free(s.score);
}

static void refuse(const lay_log_limits *limits, const char *words) {
    lay_log_fit fit;
    lay_error err = {0};
    assert_int_equal(lay_log_align(&s.log, &s.scores, limits, &fit, &err), LAY_BAD_INPUT);
    if (strstr(err.message, words) == NULL) fail_msg("wanted '%s', got '%s'", words, err.message);
    assert_close(fit.confidence, 0, 0, 0);
}

static void logs_that_cannot_be_aligned(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 5);
    make_run_up(&r);
    for (int i = 0; i < 100; i++) {
        s.time[i] = 0.1 * i;
        s.hz[i] = 900 + 27 * i; /* rpm where turns per second belong */
    }
    s.log = (lay_speed_log){.time = s.time, .hz = s.hz, .count = 100};
    refuse(NULL, "check the unit of the log");
    for (int i = 0; i < 100; i++) {
        s.time[i] = 5000 + 0.1 * i;
        s.hz[i] = 20 + 0.3 * i;
    }
    refuse(NULL, "does not overlap the recording");
    for (int i = 0; i < 100; i++) s.hz[i] = 0;
    refuse(NULL, "stands still");
    s.log.count = 1;
    refuse(NULL, "too short");
    free(s.score);
}

static void logged_speed_at_a_time(void **state) {
    (void)state;
    static const double time[] = {0, 1, 2, 20, 21}, hz[] = {10, 20, 15, 30, 40};
    const lay_speed_log log = {.time = time, .hz = hz, .count = 3}, gap = {.time = time, .hz = hz, .count = 5};
    double found = -1;
    assert_true(lay_log_at(&log, 5, 0, 5.25, &found));
    assert_close(found, 12.5, 1e-12, 0);
    assert_true(lay_log_at(&log, 5, 0.001, 5 + 1.5 * 1.001, &found)); /* recording = log x (1 + drift) + offset */
    assert_close(found, 17.5, 1e-9, 0);
    assert_true(lay_log_at(&log, 0, 0, 2, &found));
    assert_close(found, 15, 0, 0);
    assert_false(lay_log_at(&log, 5, 0, 4.9, &found));
    assert_false(lay_log_at(&log, 5, 0, 7.1, &found));
    assert_false(lay_log_at(&log, 0, 0, NAN, &found));
    static const double many[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 40, 41}, any[12] = {1};
    const lay_speed_log torn = {.time = many, .hz = any, .count = 12};
    assert_false(lay_log_at(&torn, 0, 0, 20, &found)); /* 31 s without a reading, 5 x the mean step is 18.6 s */
    assert_true(lay_log_at(&gap, 0, 0, 10, &found));   /* here the mean step is 5 s */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sweeping_drives),
        cmocka_unit_test(logs_of_other_drives),
        cmocka_unit_test(recordings_of_nothing),
        cmocka_unit_test(one_reading_per_second),
        cmocka_unit_test(drift_is_found),
        cmocka_unit_test(steady_log_is_flat),
        cmocka_unit_test(scale_of_rows_does_not_matter),
        cmocka_unit_test(logs_that_cannot_be_aligned),
        cmocka_unit_test(logged_speed_at_a_time),
    };
    return cmocka_run_group_tests(tests, make_noise, NULL);
}
