/* How a path of the speed is corrected by the lines that it sharpens. */
#include "speed/align.h"
#include "speed/phase.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/played_chapter.h"

#include <math.h>
#include <stdlib.h>

#define RATE 16000.0

/* ---- corrections of a path ---- */

/* A path through `c` that is off by `share` of the speed, as a sine of `period` s, and by a constant factor. */
static lay_shaft wrong_path(const lay_chapter *c, const played_motion *m, double share, double period, double factor) {
    enum { KNOTS = 240 };
    static double log_hz[KNOTS];
    const double hop = 0.05;
    size_t knots = (size_t)(m->seconds / hop);
    lay_shaft path = {.count = 0};
    lay_error err = {0};
    assert_true(knots <= KNOTS);
    for (size_t f = 0; f < knots; f++) {
        double t = ((double)f + 0.5) * hop;
        log_hz[f] = log(played_hz(m, t) * factor) + share * sin(2 * LAY_PI * t / period);
    }
    fine(lay_chapter_shaft(c, 0.5 * hop, hop, log_hz, knots, &path, &err), &err);
    return path;
}

/* Largest departure of a path's speed from the motion, but for the constant factor that no line tells, away from the
 * ends. */
static double departure(const lay_shaft *path, const played_motion *m) {
    double low = 1e300, high = -1e300, turns, hz;
    for (double t = 1; t < m->seconds - 1; t += 0.05) {
        assert_true(lay_shaft_at(path, t, NULL, &turns, &hz));
        double off = log(hz / played_hz(m, t));
        low = fmin(low, off);
        high = fmax(high, off);
    }
    return 0.5 * (high - low);
}

static const played_motion runs[] = {{25, 25, 12, 0, 0}, {17, 58, 12, 0, 0}, {50, 20, 12, 0.002, 0.5}};
#define RUNS (sizeof runs / sizeof runs[0])

static lay_chapter chapter_of_run(const played_motion *m) {
    played_box box;
    played_usual_box(&box);
    played p = {.rate = RATE, .motion = *m, .box = &box, .noise = 0.05, .seed = 5};
    return chapter_played(&p);
}

/* One correction with frames of `frame_s`, each by `range` at most. */
static void correct(const lay_chapter *c, lay_shaft *path, double frame_s, double range, double *found) {
    lay_warp warp = {0};
    lay_profile profile = {0};
    lay_error err = {0};
    fine(lay_warp_make(c, path, frame_s, &warp, &err), &err);
    fine(lay_profile_make(&warp, &profile, &err), &err);
    double *log_hz = lay_calloc(2 * warp.frames, sizeof *log_hz), *seen = log_hz + warp.frames;
    assert_non_null(log_hz);
    fine(lay_align(&warp, &profile, range, log_hz, seen, found, &err), &err);
    for (size_t f = 0; f < warp.frames; f++) {
        assert_true(isfinite(seen[f]));
        assert_true(fabs(log_hz[f] - log(warp.hz[f])) < 1.2 * range);
    }
    lay_shaft_free(path);
    fine(lay_chapter_shaft(c, warp.first_s, warp.hop_s, log_hz, warp.frames, path, &err), &err);
    free(log_hz);
    lay_profile_free(&profile);
    lay_warp_free(&warp);
}

/* Coarse, then fine, as the tracker does. */
static void lines_correct_a_path(void **state) {
    (void)state;
    for (size_t k = 0; k < RUNS; k++) {
        lay_chapter c = chapter_of_run(&runs[k]);
        lay_shaft path = wrong_path(&c, &runs[k], 0.005, 8, 1.31);
        double found = 0, before = departure(&path, &runs[k]);
        correct(&c, &path, 0.5, 0.025, &found);
        correct(&c, &path, 1, 0.01, &found);
        double after = departure(&path, &runs[k]);
        print_message("by lines: %.4f %% wrong, then %.4f %%\n", 100 * before, 100 * after);
        assert_true(found > 0);
        assert_true(before > 4e-3);
        assert_true(after < 0.6 * before); /* phases do the rest */
        lay_shaft_free(&path);
        lay_chapter_free(&c);
    }
}

/* A path that is right stays so. */
static void a_right_path_stays(void **state) {
    (void)state;
    for (size_t k = 0; k < RUNS; k++) {
        lay_chapter c = chapter_of_run(&runs[k]);
        lay_shaft path = wrong_path(&c, &runs[k], 0, 8, 1);
        double found = 0;
        correct(&c, &path, 0.5, 0.025, &found);
        correct(&c, &path, 1, 0.01, &found);
        double after = departure(&path, &runs[k]);
        print_message("a right path moves by %.4f %%\n", 100 * after);
        assert_true(after < 2e-3);
        lay_shaft_free(&path);
        lay_chapter_free(&c);
    }
}

/* No line tells a constant factor: it stays, but for the width of the strongest lines' flat tops. */
static void a_constant_factor_stays(void **state) {
    (void)state;
    lay_chapter c = chapter_of_run(&runs[0]);
    lay_shaft path = wrong_path(&c, &runs[0], 0, 8, 1.005);
    double found = 0, turns, hz;
    correct(&c, &path, 1, 0.01, &found);
    assert_true(lay_shaft_at(&path, 6, NULL, &turns, &hz));
    assert_close(hz, 1.005 * 25, 0, 1.5e-3);
    lay_shaft_free(&path);
    lay_chapter_free(&c);
}

static void no_lines_correct_nothing(void **state) {
    (void)state;
    played p = {.rate = RATE, .motion = runs[0], .noise = 0.05, .seed = 15};
    lay_chapter c = chapter_played(&p);
    lay_shaft path = wrong_path(&c, &runs[0], 0, 1, 1);
    double found = 1;
    correct(&c, &path, 1, 0.01, &found);
    if (found <= 0) assert_close(departure(&path, &runs[0]), 0, 1e-5, 0);
    assert_close(found, 0, 40, 0); /* a peak of noise or two in the mean of all frames */
    lay_shaft_free(&path);
    lay_chapter_free(&c);
}

static void phases_correct_the_rest(void **state) {
    (void)state;
    for (size_t k = 0; k < RUNS; k++) {
        lay_chapter c = chapter_of_run(&runs[k]);
        lay_shaft path = wrong_path(&c, &runs[k], 0.001, 3, 0.77);
        double before = departure(&path, &runs[k]);
        lay_warp warp = {0};
        lay_profile profile = {0};
        lay_error err = {0};
        fine(lay_warp_make(&c, &path, 1, &warp, &err), &err);
        fine(lay_profile_make(&warp, &profile, &err), &err);
        fine(lay_phase_refine(&c, &profile, warp.bin_hz, &path, &err), &err);
        double after = departure(&path, &runs[k]);
        print_message("by phases: %.4f %% wrong, then %.4f %%\n", 100 * before, 100 * after);
        assert_true(before > 8e-4);
        assert_true(after < 2e-4);
        assert_non_null(path.sd);
        for (size_t i = 0; i < path.count; i++) assert_true(path.sd[i] > 0 && path.sd[i] < 0.01);
        lay_profile_free(&profile);
        lay_warp_free(&warp);
        lay_shaft_free(&path);
        lay_chapter_free(&c);
    }
}

/* ---- warped spectra ---- */

/* Along the true path every line stands at its order. */
static void lines_stand_at_their_orders(void **state) {
    (void)state;
    static const double orders[] = {2, 4, 6, 17.25, 23, 34.5, 46};
    lay_chapter c = chapter_of_run(&runs[1]);
    lay_shaft path = wrong_path(&c, &runs[1], 0, 1, 1);
    lay_warp warp = {0};
    lay_profile profile = {0};
    lay_error err = {0};
    fine(lay_warp_make(&c, &path, 1, &warp, &err), &err);
    fine(lay_profile_make(&warp, &profile, &err), &err);
    for (size_t k = 0; k < sizeof orders / sizeof orders[0]; k++) {
        size_t at = (size_t)(orders[k] / profile.step + 0.5), best = at;
        for (size_t i = at - 5; i <= at + 5; i++)
            if (profile.mean[i] > profile.mean[best]) best = i;
        assert_close((double)best * profile.step, orders[k], 1.5 * profile.step, 0);
        assert_true(profile.mean[best] > 5);
    }
    for (size_t f = 0; f < warp.frames; f++) {
        assert_close(warp.hz[f], played_hz(&runs[1], warp.first_s + (double)f * warp.hop_s), 0, 1e-4);
        assert_true(lay_warp_ratio(&warp, f, -1) < 0 && lay_warp_ratio(&warp, f, 1e6) < 0);
    }
    lay_profile_free(&profile);
    lay_warp_free(&warp);
    lay_shaft_free(&path);
    lay_chapter_free(&c);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_correct_a_path),    cmocka_unit_test(a_right_path_stays),
        cmocka_unit_test(a_constant_factor_stays), cmocka_unit_test(no_lines_correct_nothing),
        cmocka_unit_test(phases_correct_the_rest), cmocka_unit_test(lines_stand_at_their_orders),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
