/* Impacts of faults: their crest against the noise where they ring, their orders, their load zones. */
#include <layshaft/dsp.h>
#include <layshaft/sim.h>

#include "sim/bearing.h"
#include "sim/render.h"
#include "sim/trains.h"
#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

/* ---- one strike ---- */

/* A strike at any place between samples, also across blocks, is exp(-a t) sin(w t) with its first crest at 1. */
static void a_strike_is_a_sine_that_dies_away(void **state) {
    (void)state;
    enum { BLOCK = 16, BLOCKS = 4 };
    const double rate = 16000, hz[] = {2000, 6000}, at[] = {3.0, 3.25, 3.9, 14.5, 15.6};
    for (int f = 0; f < 2; f++)
        for (int p = 0; p < 5; p++) {
            const double q = 12, w = 2 * LAY_PI * hz[f] / rate, a = w / (2 * q);
            double x[BLOCK * BLOCKS] = {0}, excitation[BLOCK + 2], crest = 0;
            lay_sim_impacts train = {.order = 1e-3, .peak = 1, .flank = {1, 1}, .next = at[p] / BLOCK};
            train.ring = lay_sim_ringing_at(rate, hz[f], q);
            for (int b = 0; b < BLOCKS; b++)
                lay_sim_impacts_block(&train, b, b + 1, 1, 1, rate, excitation, x + (ptrdiff_t)b * BLOCK, BLOCK);
            for (double t = 0; t < 20; t += 1e-3) crest = fmax(crest, exp(-a * t) * sin(w * t));
            for (int i = 0; i < BLOCK * BLOCKS; i++) {
                double t = i - at[p], expected = t <= 0 ? 0 : exp(-a * t) * sin(w * t) / crest;
                assert_close(x[i], expected, 1e-5, 0);
            }
        }
}

/* Half of a radially loaded ring is loaded for e = 0.5, all of it for e = 1 (Stribeck's distribution). */
static void the_load_zone_is_stribecks(void **state) {
    (void)state;
    assert_close(lay_sim_load_zone(0, 0.5), 1, 1e-12, 0);
    assert_close(lay_sim_load_zone(0.25, 0.5), 0, 1e-12, 0);
    assert_close(lay_sim_load_zone(0.4, 0.5), 0, 1e-12, 0);
    assert_close(lay_sim_load_zone(0.25, 1), pow(0.5, 1.5), 1e-12, 0);
    assert_close(lay_sim_load_zone(1.5, 1), 0, 1e-9, 0);
}

/* ---- scenes ---- */

/* An inline box whose pilot bearing runs between two turning shafts. */
static const char box[] = "[unit]\nname = Bench\ndriven by = input shaft\noutput = mainshaft\n"
                          "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                          "[mesh second pair]\ndriver = countershaft, 20\ndriven = second gear, 37\n"
                          "[gear 2]\nlock = second gear, mainshaft\n"
                          "[gear N]\nlock = mainshaft, case\n"
                          "[bearing front]\ninner = countershaft\nouter = case\nrolling elements = 9\n"
                          "element diameter = 9.5 mm\npitch diameter = 46 mm\n"
                          "[bearing pilot]\ninner = mainshaft\nouter = input shaft\nrolling elements = 9\n"
                          "element diameter = 5 mm\npitch diameter = 24 mm\n"
                          "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n";
enum { FRONT, PILOT };

typedef struct stage {
    lay_unit *unit;
    lay_sim_scene *scene;
} stage;

static stage set_up(uint64_t seed, double rate, lay_world world, const lay_fault *fault) {
    stage s = {0};
    lay_error err = {0};
    lay_sim_options options = {.seed = seed,
                               .world = world,
                               .rate = rate,
                               .seconds = 6,
                               .faults = fault,
                               .fault_count = 1,
                               .format = LAY_FILE_WAV_FLOAT};
    s.scene = lay_calloc(1, sizeof *s.scene);
    if (lay_unit_parse(box, sizeof box - 1, "box", &s.unit, &err) != LAY_OK ||
        lay_sim_scene_build(s.scene, s.unit, &options, &err) != LAY_OK)
        fail_msg("%s", err.message);
    return s;
}

static void put_away(stage *s) {
    lay_sim_scene_free(s->scene);
    free(s->scene);
    lay_unit_free(s->unit);
}

static const lay_sim_run *run_under(const lay_sim_scene *scene, lay_load load) {
    for (size_t i = 0; i < scene->run_count; i++)
        if (scene->runs[i].load == load) return &scene->runs[i];
    fail_msg("the plan holds no such run");
    return NULL;
}

static double *rendered(const lay_sim_scene *scene, const lay_sim_run *run, size_t *count) {
    lay_error err = {0};
    lay_recording *rec = NULL;
    char path[64];
    size_t got = 0;
    snprintf(path, sizeof path, "/tmp/layshaft-impacts-%d.wav", (int)getpid());
    remove(path);
    if (lay_sim_render(scene, run, NULL, path, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(lay_recording_open(path, 0, &rec, &err), LAY_OK);
    *count = (size_t)lay_recording_get_info(rec)->frames;
    double *x = lay_calloc(*count, sizeof *x);
    assert_int_equal(lay_recording_read(rec, x, *count, &got, &err), LAY_OK);
    lay_recording_close(rec);
    remove(path);
    return x;
}

/* rms of x between two frequencies, by cutting its spectrum (Parseval). */
static double rms_between(const double *x, size_t count, double rate, double low, double high) {
    lay_fft *fft = NULL;
    assert_int_equal(lay_fft_new(count, &fft, NULL), LAY_OK);
    double *pairs = lay_calloc(count + 2, sizeof *pairs), sum = 0;
    lay_fft_forward(fft, x, pairs);
    for (size_t k = 1; k < count / 2; k++) {
        double hz = (double)k * rate / (double)count;
        if (hz >= low && hz < high) sum += 2 * (pairs[2 * k] * pairs[2 * k] + pairs[2 * k + 1] * pairs[2 * k + 1]);
    }
    free(pairs);
    lay_fft_free(fft);
    return sqrt(sum) / (double)count;
}

/* The fault's own strikes in a run and the noise they are set to. */
typedef struct strikes {
    double *x; /* impacts alone */
    size_t count;
    double noise;
} strikes;

/* The same noise with and without the fault: the difference is the fault alone. */
static strikes strikes_of(lay_sim_scene *scene, const lay_sim_run *run) {
    strikes s;
    size_t faults = scene->fault_count;
    for (size_t i = 0; i < scene->voice_count; i++) scene->voices[i].amplitude = 0;
    s.x = rendered(scene, run, &s.count);
    scene->fault_count = 0;
    double *healthy = rendered(scene, run, &s.count);
    scene->fault_count = faults;
    s.noise = rms_between(healthy, s.count, scene->rate, 2000, fmin(10000, 0.45 * scene->rate));
    for (size_t i = 0; i < s.count; i++) s.x[i] -= healthy[i];
    free(healthy);
    return s;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median over the passages of the highest value within each. */
static double middle_peak(const strikes *s, const lay_sim_run *run, double rate, double order) {
    double peaks[4096], top = 0;
    size_t count = 0, last = 0;
    for (size_t i = 0; i < s->count; i++) {
        size_t passage = (size_t)(order * lay_sim_profile_turns(&run->profile, (double)i / rate));
        if (passage != last && count < 4096) peaks[count++] = top, top = 0, last = passage;
        top = fmax(top, fabs(s->x[i]));
    }
    qsort(peaks, count, sizeof *peaks, by_size);
    return peaks[count / 2];
}

/* Crest over the rms of the noise between 2 and 10 kHz, measured in the finished recording. */
static void crests_stand_to_the_noise_as_asked(void **state) {
    (void)state;
    static const double rates[] = {16000, 44100};
    for (int i = 0; i < 2; i++) {
        lay_fault fault = {.kind = LAY_FAULT_OUTER, .index = FRONT, .strength_db = 9};
        stage s = set_up(11 + (uint64_t)i, rates[i], LAY_WORLD_QUIET, &fault);
        const lay_sim_run *run = run_under(s.scene, LAY_LOAD_DRIVE);
        lay_sim_bearing_orders orders;
        assert_true(lay_sim_bearing_solve(s.scene, run, FRONT, &orders));
        strikes found = strikes_of(s.scene, run);
        double peak = middle_peak(&found, run, rates[i], orders.outer);
        assert_close(20 * log10(peak / found.noise), 9, 1.0, 0);
        free(found.x);
        put_away(&s);
    }
}

/* |sum of squares times exp(2 pi i order turns)| over the sum of squares: how deep the strikes' power is modulated. */
static double depth_at(const strikes *s, const lay_sim_run *run, double rate, double order) {
    double re = 0, im = 0, sum = 0;
    for (size_t i = 0; i < s->count; i++) {
        double angle = 2 * LAY_PI * order * lay_sim_profile_turns(&run->profile, (double)i / rate);
        double power = s->x[i] * s->x[i];
        re += power * cos(angle);
        im += power * sin(angle);
        sum += power;
    }
    return sqrt(re * re + im * im) / sum;
}

/* The mesh forces stand still in the case: a defect passes the load zone with its ring or with the cage. */
static void strikes_follow_the_load_zone(void **state) {
    (void)state;
    static const struct {
        lay_fault_kind kind;
        int index;
    } cases[] = {{LAY_FAULT_INNER, FRONT},
                 {LAY_FAULT_INNER, PILOT},
                 {LAY_FAULT_OUTER, PILOT},
                 {LAY_FAULT_ELEMENT, FRONT},
                 {LAY_FAULT_OUTER, FRONT}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        lay_fault fault = {.kind = cases[i].kind, .index = cases[i].index, .strength_db = 12};
        stage s = set_up(21, 16000, LAY_WORLD_QUIET, &fault);
        const lay_sim_run *run = run_under(s.scene, LAY_LOAD_DRIVE);
        const double *speed = (double[]){fabs(run->kinematics.speed[s.unit->bearings[fault.index].inner].value),
                                         fabs(run->kinematics.speed[s.unit->bearings[fault.index].outer].value)};
        lay_sim_bearing_orders orders;
        assert_true(lay_sim_bearing_solve(s.scene, run, fault.index, &orders));
        double zone = fault.kind == LAY_FAULT_INNER     ? speed[0]
                      : fault.kind == LAY_FAULT_ELEMENT ? orders.cage
                                                        : speed[1];
        strikes found = strikes_of(s.scene, run);
        if (zone > 0) assert_true(depth_at(&found, run, 16000, zone) > 0.25);
        assert_true(depth_at(&found, run, 16000, 0.731) < 0.1);
        if (zone == 0) assert_true(depth_at(&found, run, 16000, speed[0]) < 0.1);
        free(found.x);
        put_away(&s);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_strike_is_a_sine_that_dies_away),
        cmocka_unit_test(the_load_zone_is_stribecks),
        cmocka_unit_test(crests_stand_to_the_noise_as_asked),
        cmocka_unit_test(strikes_follow_the_load_zone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
