/* A chipped tooth strikes at one angle of its wheel, in every run of the job, and the truth says at which. */
#include <layshaft/sim.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <jansson.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BINS 50

/* Both channels of a recording, one after the other. */
static double *channels(const char *file, size_t *count) {
    lay_recording *rec = NULL;
    lay_error err = {0};
    size_t got = 0;
    if (lay_recording_open(scratch_path(file), 0, &rec, &err) != LAY_OK) fail_msg("%s", err.message);
    *count = (size_t)lay_recording_get_info(rec)->frames;
    double *frames = lay_calloc(2 * *count, sizeof *frames), *x = lay_calloc(2 * *count, sizeof *x);
    assert_int_equal(lay_recording_read(rec, frames, *count, &got, &err), LAY_OK);
    lay_recording_close(rec);
    for (size_t i = 0; i < *count; i++) {
        x[i] = frames[2 * i];
        x[*count + i] = frames[2 * i + 1];
    }
    free(frames);
    return x;
}

/* Leading edges: from the level where the signal rests most of the time to the other; returns their count. */
static size_t leading_edges(const double *x, size_t count, double *at) {
    double low = x[0], high = x[0], mean = 0;
    size_t edges = 0;
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, x[i]);
        high = fmax(high, x[i]);
        mean += x[i] / (double)count;
    }
    double middle = 0.5 * (low + high), sign = mean < middle ? 1 : -1;
    for (size_t i = 1; i < count; i++) {
        double a = sign * (x[i - 1] - middle), b = sign * (x[i] - middle);
        if (a < 0 && b >= 0) at[edges++] = (double)i - b / (b - a);
    }
    return edges;
}

/* Angle at which the second difference of x is strongest, over turns as long as the one before: those between two true
 * pulses. */
static double loudest_angle(const double *x, const double *edges, size_t count) {
    double power[BINS] = {0};
    for (size_t k = 1; k + 1 < count; k++) {
        double turn = edges[k + 1] - edges[k], before = edges[k] - edges[k - 1];
        if (fabs(turn - before) > 0.03 * turn) continue;
        for (size_t i = (size_t)ceil(edges[k]) + 2; (double)i < edges[k + 1]; i++) {
            double d = x[i] - 2 * x[i - 1] + x[i - 2];
            power[(size_t)(((double)i - 1 - edges[k]) / turn * BINS)] += d * d;
        }
    }
    int best = 0;
    for (int b = 1; b < BINS; b++)
        if (power[b] > power[best]) best = b;
    return (best + 0.5) / BINS;
}

static bool loads_the_chip(const json_t *fault, const json_t *run) {
    const char *flank = json_string_value(json_object_get(fault, "flank"));
    const char *load = json_string_value(json_object_get(run, "load"));
    bool sided = strcmp(load, "drive") == 0 || strcmp(load, "coast") == 0;
    return sided && (strcmp(flank, "both") == 0 || strcmp(flank, load) == 0) &&
           json_is_number(json_array_get(json_object_get(run, "impact_orders"), 0));
}

static int check_runs(const json_t *truth, const json_t *fault) {
    int checked = 0;
    size_t i;
    const json_t *run;
    double angle = json_number_value(json_object_get(fault, "angle"));
    assert_true(angle >= 0 && angle < 1);
    json_array_foreach(json_object_get(truth, "runs"), i, run) {
        if (!loads_the_chip(fault, run)) continue;
        size_t count;
        double *x = channels(json_string_value(json_object_get(run, "file")), &count);
        double *edges = lay_calloc(count, sizeof *edges);
        double found = loudest_angle(x, edges, leading_edges(x + count, count, edges)), off = found - angle;
        assert_close(off - round(off), 0, 0.03, 0);
        free(edges);
        free(x);
        checked++;
    }
    return checked;
}

/* The chip sits on the shaft that most tachs look at. */
static const char box[] = "[unit]\nname = Bench\ndriven by = input shaft\noutput = mainshaft\n"
                          "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                          "[mesh second pair]\ndriver = countershaft, 20\ndriven = second gear, 37\n"
                          "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"
                          "[gear 2]\nlock = second gear, mainshaft\n"
                          "[gear 3]\nlock = third gear, mainshaft\n"
                          "[gear N]\nlock = mainshaft, case\n";

static json_t *simulated(const lay_unit *unit, uint64_t seed) {
    static const lay_fault fault = {
        .kind = LAY_FAULT_CHIP, .index = 0, .wheel = 0, .drive = true, .coast = true, .strength_db = 20};
    lay_sim_options options = {.seed = seed,
                               .world = LAY_WORLD_QUIET,
                               .tach = true,
                               .rate = 32000,
                               .seconds = 4,
                               .faults = &fault,
                               .fault_count = 1};
    lay_error err = {0};
    scratch_open();
    if (lay_sim_job(scratch_path("."), unit, &options, NULL, NULL, &err) != LAY_OK) fail_msg("%s", err.message);
    json_t *truth = json_load_file(scratch_path("truth.json"), 0, NULL);
    assert_non_null(truth);
    return truth;
}

static void the_angle_is_the_same_in_every_run(void **state) {
    (void)state;
    int jobs = 0, runs = 0;
    lay_unit *unit = NULL;
    assert_int_equal(lay_unit_parse(box, sizeof box - 1, "box", &unit, NULL), LAY_OK);
    for (uint64_t seed = 1; seed < 30 && jobs < 3; seed++) {
        json_t *truth = simulated(unit, seed);
        const json_t *fault = json_array_get(json_object_get(truth, "faults"), 0);
        if (json_object_get(fault, "angle")) { /* the tach marks each turn of the input shaft */
            runs += check_runs(truth, fault);
            jobs++;
        }
        json_decref(truth);
        scratch_close();
    }
    lay_unit_free(unit);
    assert_int_equal(jobs, 3);
    assert_true(runs >= 6);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_angle_is_the_same_in_every_run)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
