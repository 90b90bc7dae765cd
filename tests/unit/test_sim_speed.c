/* The truth of speed: what the simulator says of the shaft is what it put into the
 * recordings. */
#include <layshaft/dsp.h>
#include <layshaft/sim.h>

#include "sim/render.h"
#include "sim/scene.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"
#include "support/simulated.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static lay_sim_scene *scene_of(const lay_sim_options *options, lay_unit **unit) {
    lay_error err = {0};
    lay_sim_scene *scene = lay_calloc(1, sizeof *scene);
    assert_non_null(scene);
    if (lay_sim_unit(options->seed, unit, &err) != LAY_OK || lay_sim_scene_build(scene, *unit, options, &err) != LAY_OK)
        fail_msg("%s", err.message);
    return scene;
}

static void free_scene(lay_sim_scene *scene, lay_unit *unit) {
    lay_sim_scene_free(scene);
    free(scene);
    lay_unit_free(unit);
}

/* ---- motion ---- */

static double turns_at(const lay_sim_run *run, double t, bool crank) {
    lay_sim_moment now;
    lay_sim_trip_at(&run->trip, &run->profile, t, &now);
    return crank ? now.crank_turns : now.turns;
}

static double hz_at(const lay_sim_run *run, double t, bool crank) {
    lay_sim_moment now;
    lay_sim_trip_at(&run->trip, &run->profile, t, &now);
    return crank ? now.crank_hz : now.hz;
}

/* Speed is the rate of the angle and never jumps; 5000 1/min/s is more than any engine without load does. */
static void check_motion(const lay_sim_run *run, bool crank) {
    const double h = 1e-4;
    for (double t = 0.003; t + 0.01 < run->profile.seconds; t += 0.0107) {
        double before = hz_at(run, t, crank), after = hz_at(run, t + 0.01, crank);
        double rate = (turns_at(run, t + h, crank) - turns_at(run, t - h, crank)) / (2 * h);
        assert_true(before >= 0);
        assert_close(rate, before, 0.02, 1e-3);
        assert_true(fabs(after - before) < 0.01 * 8000 / 60.0 * 2);
    }
}

static void angle_is_the_integral_of_speed(void **state) {
    (void)state;
    int seen[LAY_SIM_MUSIC + 1] = {0};
    for (uint64_t seed = 1; seed <= 25; seed++) {
        lay_sim_options options = {.seed = seed, .world = LAY_WORLD_ROAD, .rate = 16000, .events = true};
        lay_unit *unit = NULL;
        lay_sim_scene *scene = scene_of(&options, &unit);
        for (size_t i = 0; i < scene->run_count; i++) {
            const lay_sim_run *run = &scene->runs[i];
            check_motion(run, false);
            check_motion(run, true);
            for (size_t e = 0; e < run->trip.event_count; e++) seen[run->trip.events[e].kind]++;
        }
        free_scene(scene, unit);
    }
    for (int k = 0; k <= LAY_SIM_MUSIC; k++)
        if (seen[k] < 3) fail_msg("'%s' was drawn %d times", lay_sim_event_name((lay_sim_event_kind)k), seen[k]);
}

/* The wheels turn on evenly while the gear changes: shaft speed over ratio is the same either side. */
static void a_shift_keeps_road_speed(void **state) {
    (void)state;
    int shifts = 0;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        lay_sim_options options = {.seed = seed, .world = LAY_WORLD_CABIN, .rate = 16000, .events = true};
        lay_unit *unit = NULL;
        lay_sim_scene *scene = scene_of(&options, &unit);
        for (size_t i = 0; i < scene->run_count; i++) {
            const lay_sim_run *run = &scene->runs[i];
            if (!run->lower) continue;
            double t = run->trip.events[0].open - 0.01;
            assert_close(hz_at(run, t, false) * run->lower->output_order,
                         lay_sim_profile_hz(&run->profile, t) * run->output_order, 0, 1e-9);
            assert_true(hz_at(run, t, false) > 1.05 * lay_sim_profile_hz(&run->profile, t));
            shifts++;
        }
        free_scene(scene, unit);
    }
    assert_true(shifts > 5);
}

/* ---- the recording ---- */

/* Mean square of what sings at `order` of a curve between two times. */
static double power_along(const double *x, double rate, const lay_sim_run *run, bool crank, double order, double from,
                          double to) {
    double re = 0, im = 0, sum = 0;
    for (double i = ceil(from * rate); i < to * rate; i++) {
        double u = (i / rate - from) / (to - from), w = 0.5 - 0.5 * cos(2 * LAY_PI * u);
        double angle = 2 * LAY_PI * order * turns_at(run, i / rate, crank);
        re += w * x[(size_t)i] * cos(angle);
        im -= w * x[(size_t)i] * sin(angle);
        sum += w;
    }
    return 2 * (re * re + im * im) / (sum * sum);
}

static double *rendered(const lay_sim_scene *scene, const lay_sim_run *run, size_t *count) {
    lay_error err = {0};
    lay_recording *rec = NULL;
    const char *path = scratch_path("run.wav");
    remove(path);
    if (lay_sim_render(scene, run, NULL, path, &err) != LAY_OK || lay_recording_open(path, 0, &rec, &err) != LAY_OK)
        fail_msg("%s", err.message);
    *count = (size_t)lay_recording_get_info(rec)->frames;
    double *x = lay_calloc(*count, sizeof *x);
    size_t got;
    assert_int_equal(lay_recording_read(rec, x, *count, &got, &err), LAY_OK);
    lay_recording_close(rec);
    return x;
}

/* With the clutch down the firing order follows the crank, and the shaft's angle knows nothing of it. */
static void the_engine_follows_the_crank(void **state) {
    (void)state;
    int checked = 0;
    scratch_open();
    for (uint64_t seed = 1; seed <= 30 && checked < 3; seed++) {
        lay_sim_options options = {
            .seed = seed, .world = LAY_WORLD_CABIN, .rate = 8000, .events = true, .format = LAY_FILE_WAV_FLOAT};
        lay_unit *unit = NULL;
        lay_sim_scene *scene = scene_of(&options, &unit);
        for (size_t i = 0; i < scene->run_count; i++) {
            const lay_sim_run *run = &scene->runs[i];
            const lay_sim_event *down = NULL;
            for (size_t e = 0; e < run->trip.event_count; e++)
                if (run->trip.events[e].kind == LAY_SIM_CLUTCH) down = &run->trip.events[e];
            if (!down) continue;
            size_t n;
            double *x = rendered(scene, run, &n), order = 0.5 * unit->engine.cylinders;
            double from = down->from + 0.05, to = down->to - 0.05;
            double crank = power_along(x, scene->rate, run, true, order, from, to);
            double shaft = power_along(x, scene->rate, run, false, order, from, to);
            assert_true(lay_db_power(crank / shaft) > 10);
            checked++;
            free(x);
        }
        free_scene(scene, unit);
    }
    scratch_close();
    assert_true(checked > 0);
}

/* ---- truth.json ---- */

/* 0.001 rpm is the last digit written. */
static void the_truth_is_the_profile(void **state) {
    (void)state;
    for (int events = 0; events < 2; events++) {
        lay_sim_options options = {
            .seed = 21, .world = LAY_WORLD_ROAD, .rate = 8000, .speed_truth = true, .tach = true, .events = events};
        lay_unit *unit = NULL;
        json_t *truth = simulated_job(&options), *runs = json_object_get(truth, "runs");
        lay_sim_scene *scene = scene_of(&options, &unit);
        size_t nulls = 0, count = 0;
        for (size_t i = 0; i < scene->run_count; i++) {
            const lay_sim_run *run = &scene->runs[i];
            const json_t *entry = json_array_get(runs, i);
            size_t length = json_array_size(json_object_get(json_object_get(entry, "speed"), "rpm"));
            assert_int_equal(length, (size_t)floor(run->profile.seconds / 0.05) + 1);
            for (size_t k = 0; k < length; k++) {
                double t = 0.05 * (double)k, rpm = simulated_rpm(entry, "rpm", k);
                bool parted = false, disturbed = false;
                for (size_t e = 0; e < run->trip.event_count; e++) {
                    const lay_sim_event *event = &run->trip.events[e];
                    bool now = t >= event->from && t <= event->to;
                    parted = parted || (now && event->parts);
                    disturbed = disturbed || (now && event->kind == LAY_SIM_OFF);
                }
                double hz = disturbed ? hz_at(run, t, false) : lay_sim_profile_hz(&run->profile, t);
                assert_close(rpm, parted || hz < 5 ? 0 : 60 * hz, 0.001, 0);
                nulls += parted;
                count++;
            }
        }
        assert_true(events ? nulls > count / 20 && nulls < count * 3 / 4 : nulls == 0);
        free_scene(scene, unit);
        json_decref(truth);
        scratch_close();
    }
}

/* Outside the events crank and shaft are one; the input shaft's own speed is known at least where both are. */
static void crank_and_shaft_part_only_in_events(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        lay_sim_options options = {.seed = seed, .world = LAY_WORLD_ROAD, .rate = 8000, .events = true};
        lay_unit *unit = NULL;
        lay_sim_scene *scene = scene_of(&options, &unit);
        for (size_t i = 0; i < scene->run_count; i++) {
            const lay_sim_run *run = &scene->runs[i];
            for (double t = 0; t < run->profile.seconds; t += 0.013) {
                double joined = lay_sim_trip_joined_hz(&run->trip, &run->profile, t);
                if (joined <= 0) continue;
                assert_close(hz_at(run, t, true), joined, 0, 1e-12);
                assert_close(lay_sim_trip_shaft_hz(&run->trip, &run->profile, t), joined, 0, 1e-12);
            }
        }
        free_scene(scene, unit);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(angle_is_the_integral_of_speed),      cmocka_unit_test(a_shift_keeps_road_speed),
        cmocka_unit_test(the_engine_follows_the_crank),        cmocka_unit_test(the_truth_is_the_profile),
        cmocka_unit_test(crank_and_shaft_part_only_in_events),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
