/* Watching: highest levels, change against a baseline at the same speed, alarms that last, moments. */
#include <layshaft/judge.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <math.h>
#include <string.h>

#define EVERY 0.125 /* s */

static const lay_expected parts[] = {{.type = LAY_PART_MESH, .name = "third pair", .turning = true},
                                     {.type = LAY_PART_MESH, .name = "headset", .turning = true},
                                     {.type = LAY_PART_ENGINE, .name = "engine", .turning = true}};
static lay_monitor_row rows[3];
static const lay_run_spec spec = {.full_scale = 1};

/* Levels in dB of full scale; the noise lies at -80. */
static lay_monitor_view view(double at, double hz, double third, double headset, double engine) {
    const double levels[] = {third, headset, engine}, orders[] = {17.25, 23, 2};
    for (int i = 0; i < 3; i++)
        rows[i] = (lay_monitor_row){.part = &parts[i],
                                    .order = orders[i],
                                    .hz = orders[i] * hz,
                                    .power = pow(10, levels[i] / 10),
                                    .floor = 1e-8,
                                    .engine = INFINITY,
                                    .near = 5};
    return (lay_monitor_view){.at_s = at,
                              .known = hz > 0,
                              .hz = hz,
                              .confidence = 1,
                              .source = LAY_SPEED_TACH,
                              .rows = rows,
                              .count = 3,
                              .step = 0.06};
}

static lay_watch_baseline *good(void) {
    lay_watch_baseline *b = lay_watch_baseline_new();
    lay_error err = {0};
    for (int i = 0; i < 40; i++) {
        lay_monitor_view v = view(i * EVERY, 30 + 0.02 * i, -40 + (i % 2), -60, -30);
        assert_int_equal(lay_watch_learn(b, &v, &spec, &err), LAY_OK);
    }
    lay_monitor_view blind = view(6, 0, -40, -60, -30);
    assert_int_equal(lay_watch_learn(b, &blind, &spec, &err), LAY_OK);
    return b;
}

static lay_watch begin(const lay_watch_baseline *b) {
    lay_watch w;
    lay_error err = {0};
    lay_monitor_view v = view(0, 30, -90, -90, -90);
    assert_int_equal(lay_watch_begin(&v, &spec, b, 6, &w, &err), LAY_OK);
    return w;
}

static void a_baseline_holds_at_its_speeds(void **state) {
    (void)state;
    lay_watch_baseline *b = good();
    double mean, sd;
    assert_true(lay_watch_expects(b, "third pair", 30.5, &mean, &sd));
    assert_close(mean, -39.5, 1e-6, 0);
    assert_close(sd, 0.5, 1e-3, 0);
    assert_false(lay_watch_expects(b, "third pair", 40, &mean, &sd));
    assert_false(lay_watch_expects(b, "fourth pair", 30.5, &mean, &sd));
    lay_watch_baseline_free(b);
    lay_watch_baseline_free(NULL);
}

static void what_lasts_alarms_and_a_bang_does_not(void **state) {
    (void)state;
    lay_watch_baseline *b = good();
    lay_watch w = begin(b);
    double t = 0;
    for (int i = 0; i < 8; i++, t += EVERY) {
        lay_monitor_view v = view(t, 30.4, -39.5, -60, -30);
        lay_watch_take(&w, &v);
        assert_close(w.rows[0].change_db, 0, 1e-6, 0);
    }
    for (int i = 0; i < 3; i++, t += EVERY) { /* 0.25 s from the first to the last */
        lay_monitor_view v = view(t, 30.4, -25, -60, -30);
        lay_watch_take(&w, &v);
        assert_false(w.rows[0].alarm);
    }
    lay_monitor_view quiet = view(t, 30.4, -39.5, -60, -30);
    lay_watch_take(&w, &quiet);
    double begun = t += EVERY;
    for (int i = 0; i < 8; i++, t += EVERY) {
        lay_monitor_view v = view(t, 30.4, -30, -60, -30);
        lay_watch_take(&w, &v);
    }
    assert_true(w.rows[0].alarm);
    assert_int_equal(w.rows[0].alarms, 1);
    assert_close(w.rows[0].alarm_s, begun, 1e-9, 0);
    assert_close(w.rows[0].worst_db, 14.5, 1e-6, 0);
    assert_false(w.rows[1].alarm || w.rows[2].alarm);
    for (int i = 0; i < 8; i++, t += EVERY) { /* at a speed without a baseline nothing is compared */
        lay_monitor_view v = view(t, 45, -30, -60, -30);
        lay_watch_take(&w, &v);
        assert_true(isnan(w.rows[0].change_db) && !w.rows[0].alarm);
    }
    lay_watch_free(&w);
    lay_watch_baseline_free(b);
}

/* Ten decibels more of what is not louder than the noise around is no alarm. */
static void noise_does_not_alarm(void **state) {
    (void)state;
    lay_watch_baseline *b = lay_watch_baseline_new();
    lay_error err = {0};
    for (int i = 0; i < 10; i++) {
        lay_monitor_view v = view(i, 30, -95, -60, -30);
        assert_int_equal(lay_watch_learn(b, &v, &spec, &err), LAY_OK);
    }
    lay_watch w = begin(b);
    for (int i = 0; i < 20; i++) {
        lay_monitor_view v = view(i * EVERY, 30, -79, -60, -30);
        lay_watch_take(&w, &v);
    }
    assert_close(w.rows[0].change_db, 16, 1e-6, 0);
    assert_int_equal(w.rows[0].alarms, 0);
    lay_watch_free(&w);
    lay_watch_baseline_free(b);
}

/* With rates that may lie anywhere in a tenth something is always found: shown, and no alarm. */
static void a_bearing_without_geometry_does_not_alarm(void **state) {
    (void)state;
    for (int known = 0; known < 2; known++) {
        const lay_expected bearing = {
            .type = LAY_PART_BEARING, .name = "needles", .turning = true, .tolerance = known ? 0.01 : 0.1};
        lay_monitor_row row = {
            .part = &bearing, .order = 6.1, .blows = true, .power = 1.5, .floor = 1, .engine = INFINITY};
        lay_monitor_view v = {.known = true, .hz = 30, .confidence = 1, .rows = &row, .count = 1, .step = 0.06};
        lay_watch_baseline *b = lay_watch_baseline_new();
        lay_error err = {0};
        lay_watch w;
        for (int i = 0; i < 10; i++) assert_int_equal(lay_watch_learn(b, &v, &spec, &err), LAY_OK);
        assert_int_equal(lay_watch_begin(&v, &spec, b, 6, &w, &err), LAY_OK);
        row.power = 30;
        for (int i = 0; i < 20; i++) {
            v.at_s = i * EVERY;
            lay_watch_take(&w, &v);
        }
        assert_close(w.rows[0].change_db, 10 * log10(20), 1e-6, 0);
        assert_int_equal(w.rows[0].alarms, known);
        lay_watch_free(&w);
        lay_watch_baseline_free(b);
    }
}

static void levels_are_held(void **state) {
    (void)state;
    lay_error err = {0};
    lay_watch w = begin(NULL);
    const double levels[] = {-40, -20, -30};
    for (int i = 0; i < 3; i++) {
        lay_monitor_view v = view(i, 30 + i, levels[i], -60, -10);
        lay_watch_take(&w, &v);
    }
    assert_close(w.rows[0].hold_db, -20, 1e-9, 0);
    assert_close(w.rows[0].top_s, 1, 0, 0);
    assert_close(w.rows[0].top_hz, 31, 0, 0);
    assert_close(w.rows[0].mean_db, 10 * log10((1e-4 + 1e-2 + 1e-3) / 3), 1e-9, 0);
    assert_int_equal(lay_watch_note(&w, &err), LAY_OK);
    assert_int_equal(w.moments[0].loudest, 0); /* the engine is louder, but no part of the unit */
    lay_watch_reset(&w);
    lay_monitor_view v = view(3, 30, -50, -60, -10);
    lay_watch_take(&w, &v);
    assert_close(w.rows[0].hold_db, -50, 1e-9, 0);
    assert_close(w.rows[0].top_db, -20, 1e-9, 0);
    v = view(4, 0, 0, 0, 0);
    lay_watch_take(&w, &v);
    assert_true(isnan(w.rows[0].now_db));
    assert_false(w.known);
    assert_close(w.rows[0].hold_db, -50, 1e-9, 0);
    assert_close(w.min_hz, 30, 0, 0);
    assert_close(w.max_hz, 32, 0, 0);
    lay_watch_free(&w);
    lay_watch_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_baseline_holds_at_its_speeds),
        cmocka_unit_test(what_lasts_alarms_and_a_bang_does_not),
        cmocka_unit_test(a_bearing_without_geometry_does_not_alarm),
        cmocka_unit_test(noise_does_not_alarm),
        cmocka_unit_test(levels_are_held),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
