/* The meter first: what the simulator says about a tone's strength is measured in the finished recording, by plain
 * demodulation along the true shaft angle, before anything judges on simulated recordings. */
#include <layshaft/dsp.h>
#include <layshaft/sim.h>

#include "sim/render.h"
#include "sim/scene.h"
#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define FRAME_S 0.25

static lay_sim_scene *scene_with(uint64_t seed, lay_world world, const lay_fault *fault, lay_unit **unit) {
    lay_error err = {0};
    lay_sim_options options = {.seed = seed,
                               .world = world,
                               .rate = 16000,
                               .seconds = 9,
                               .faults = fault,
                               .fault_count = 1,
                               .format = LAY_FILE_WAV_FLOAT};
    lay_sim_scene *scene = lay_calloc(1, sizeof *scene);
    if (lay_sim_unit(seed, unit, &err) != LAY_OK || lay_sim_scene_build(scene, *unit, &options, &err) != LAY_OK)
        fail_msg("seed %d: %s", (int)seed, err.message);
    return scene;
}

static double *recording_of(const lay_sim_scene *scene, const lay_sim_run *run, size_t *count) {
    lay_error err = {0};
    char path[64];
    snprintf(path, sizeof path, "/tmp/layshaft-level-%d.wav", (int)getpid());
    remove(path);
    assert_int_equal(lay_sim_render(scene, run, NULL, path, &err), LAY_OK);
    lay_recording *rec = NULL;
    assert_int_equal(lay_recording_open(path, 0, &rec, &err), LAY_OK);
    *count = (size_t)lay_recording_get_info(rec)->frames;
    double *x = lay_calloc(*count, sizeof *x);
    size_t got = 0;
    assert_int_equal(lay_recording_read(rec, x, *count, &got, &err), LAY_OK);
    assert_int_equal(got, *count);
    lay_recording_close(rec);
    remove(path);
    return x;
}

/* Hann-windowed power of x[n] from sample `at` along `order` of the true angle, `off_hz` beside it. The mean square of
 * a sine comes out as its own; noise of density d (per Hz) as 1.5 d rate / n. */
static double power_beside(const double *x, size_t at, size_t n, const lay_sim_run *run, double rate, double order,
                           double off_hz) {
    double re = 0, im = 0, sum = 0;
    for (size_t i = 0; i < n; i++) {
        double t = (double)(at + i) / rate, w = 0.5 - 0.5 * cos(2 * LAY_PI * (double)i / (double)n);
        double angle = 2 * LAY_PI * (order * lay_sim_profile_turns(&run->profile, t) + off_hz * t);
        re += w * x[at + i] * cos(angle);
        im -= w * x[at + i] * sin(angle);
        sum += w;
    }
    return 2.0 * (re * re + im * im) / (sum * sum);
}

/* Tone-to-noise ratio over the whole run. */
static double measured_tnr(const double *x, size_t count, const lay_sim_run *run, double rate, double order) {
    size_t n = (size_t)(FRAME_S * rate);
    double tone = 0, noise = 0;
    for (size_t at = 0; at + n <= count; at += n) {
        double hz = order * lay_sim_profile_hz(&run->profile, ((double)at + 0.5 * (double)n) / rate), low, high,
               beside = 0;
        lay_critical_band(hz, &low, &high);
        const int places = 16;
        for (int k = 0; k < places; k++) {
            double off = low - hz + (high - low) * (k + 0.5) / places;
            if (fabs(off) < 4.0 / FRAME_S) off = off < 0 ? -4.0 / FRAME_S : 4.0 / FRAME_S;
            beside += power_beside(x, at, n, run, rate, order, off) / places;
        }
        tone += power_beside(x, at, n, run, rate, order, 0) - beside;
        noise += beside * FRAME_S / 1.5 * (high - low);
    }
    return 10.0 * log10(tone / noise);
}

/* Silence everything but the fault, so that nothing else counts as noise; returns its strongest voice. */
static const lay_sim_voice *leave_fault_only(lay_sim_scene *scene, const lay_sim_run *run, size_t family) {
    const lay_sim_voice *best = NULL;
    double best_tnr = -200;
    for (size_t i = 0; i < scene->voice_count; i++) {
        lay_sim_voice *v = &scene->voices[i];
        if (i < scene->voice_count - family) v->amplitude = 0;
        v->fm[0] = v->fm[1] = v->am[0] = v->am[1] = 0;
        double tnr = v->measured ? lay_sim_voice_tnr(scene, run, v) : -200;
        if (tnr > best_tnr) best_tnr = tnr, best = v;
    }
    return best;
}

static const lay_mesh *loaded_mesh(const lay_unit *unit, int *index) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        for (size_t g = 0; g < unit->gear_count; g++) {
            lay_kinematics k = {0};
            assert_int_equal(lay_unit_solve(unit, (int)g, &k, NULL), LAY_OK);
            bool found = k.loaded[m] && k.mesh_order[m] > 0;
            lay_kinematics_free(&k);
            *index = (int)m;
            if (found) return &unit->meshes[m];
        }
    return NULL;
}

/* The mean in dB over the runs that sing is the strength asked for, sweeps and resonances included. */
static void strength_is_what_was_asked(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 6; seed++) {
        lay_fault fault = {.kind = LAY_FAULT_MESH, .drive = true, .strength_db = 9.0 + (double)seed};
        lay_unit *unit = NULL;
        lay_error err = {0};
        assert_int_equal(lay_sim_unit(seed, &unit, &err), LAY_OK);
        assert_non_null(loaded_mesh(unit, &fault.index));
        lay_unit_free(unit);
        lay_sim_scene *scene = scene_with(seed, LAY_WORLD_QUIET, &fault, &unit);
        double sum = 0;
        int count = 0;
        for (size_t r = 0; r < scene->run_count; r++) {
            const lay_sim_run *run = &scene->runs[r];
            if (run->load != LAY_LOAD_DRIVE || !lay_sim_fault_sings(&fault, run)) continue;
            size_t family = 0, n;
            while (scene->voices[scene->voice_count - 1 - family].carrier == LAY_SIM_MESH &&
                   scene->voices[scene->voice_count - 1 - family].index == fault.index)
                family++;
            const lay_sim_voice *v = leave_fault_only(scene, run, family);
            lay_sim_line line;
            assert_true(lay_sim_voice_line(v, run, &line));
            double *x = recording_of(scene, run, &n);
            double tnr = measured_tnr(x, n, run, scene->rate, line.order);
            assert_close(tnr, lay_sim_voice_tnr(scene, run, v), 1.0, 0);
            sum += tnr;
            count++;
            free(x);
        }
        assert_true(count > 0);
        assert_close(sum / count, fault.strength_db, 1.0, 0);
        lay_sim_scene_free(scene);
        free(scene);
        lay_unit_free(unit);
    }
}

/* A tone beside the true order measures nothing: the meter can say no. */
static void a_wrong_order_measures_nothing(void **state) {
    (void)state;
    lay_fault fault = {.kind = LAY_FAULT_UNKNOWN_TONE, .drive = true, .coast = true, .strength_db = 15};
    lay_unit *unit = NULL;
    lay_sim_scene *scene = scene_with(3, LAY_WORLD_QUIET, &fault, &unit);
    const lay_sim_run *run = &scene->runs[1];
    const lay_sim_voice *v = leave_fault_only(scene, run, 1);
    lay_sim_line line;
    assert_true(lay_sim_voice_line(v, run, &line));
    size_t n;
    double *x = recording_of(scene, run, &n);
    assert_close(measured_tnr(x, n, run, scene->rate, line.order), lay_sim_voice_tnr(scene, run, v), 1.0, 0);
    size_t frame = (size_t)(FRAME_S * scene->rate);
    double right = power_beside(x, frame * 20, frame, run, scene->rate, line.order, 0);
    double wrong = power_beside(x, frame * 20, frame, run, scene->rate, line.order + 0.4, 0);
    assert_true(wrong < 0.1 * right);
    free(x);
    lay_sim_scene_free(scene);
    free(scene);
    lay_unit_free(unit);
}

/* Healthy lines stay below the cap in every world, in every run. */
static void healthy_jobs_stay_below_the_cap(void **state) {
    (void)state;
    const lay_fault none = {.kind = LAY_FAULT_NONE};
    double loudest = -200;
    int counted = 0, loud = 0;
    for (uint64_t seed = 1; seed <= 24; seed++) {
        lay_unit *unit = NULL;
        lay_sim_scene *scene = scene_with(seed, (lay_world)(seed % LAY_WORLD_COUNT), &none, &unit);
        for (size_t r = 0; r < scene->run_count; r++)
            for (size_t i = 0; i < scene->voice_count; i++) {
                const lay_sim_voice *v = &scene->voices[i];
                if (v->carrier != LAY_SIM_MESH && v->carrier != LAY_SIM_AXLE && v->carrier != LAY_SIM_ROTOR) continue;
                double tnr = lay_sim_voice_tnr(scene, &scene->runs[r], v);
                loudest = fmax(loudest, tnr);
                counted++;
                loud += tnr > -5;
            }
        lay_sim_scene_free(scene);
        free(scene);
        lay_unit_free(unit);
    }
    assert_true(loudest <= 3.0 + 1e-6);
    assert_true(loudest > 0.0);        /* some are loud by nature */
    assert_true(loud > counted / 100); /* and not only one */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(strength_is_what_was_asked),
        cmocka_unit_test(a_wrong_order_measures_nothing),
        cmocka_unit_test(healthy_jobs_stay_below_the_cap),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
