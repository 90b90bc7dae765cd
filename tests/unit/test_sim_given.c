/* What the table of a job without tach says of the speed: true within its bounds, and nothing else changes. */
#include <layshaft/sim.h>

#include "sim/rpm_log.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"
#include "support/simulated.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- what the table says ---- */

/* FNV-1a over the first channel. */
static uint64_t hash_channel(const char *path) {
    lay_recording *rec = NULL;
    assert_int_equal(lay_recording_open(path, 0, &rec, NULL), LAY_OK);
    const lay_recording_info *info = lay_recording_get_info(rec);
    size_t channels = (size_t)info->channels, got = 0;
    double *x = lay_calloc((size_t)info->frames * channels, sizeof *x);
    assert_int_equal(lay_recording_read(rec, x, (size_t)info->frames, &got, NULL), LAY_OK);
    uint64_t hash = 1469598103934665603u;
    for (size_t i = 0; i < got; i++)
        hash = (hash ^ (uint64_t)(int64_t)lround(32768 * x[i * channels])) * 1099511628211u;
    free(x);
    lay_recording_close(rec);
    return hash;
}

static uint64_t hash_recordings(const lay_sim_options *options, json_t **faults) {
    json_t *truth = simulated_job(options);
    *faults = json_incref(json_object_get(truth, "faults"));
    lay_run_table table = {0};
    assert_int_equal(lay_run_table_load(scratch_path("runs.csv"), &table, NULL), LAY_OK);
    uint64_t hash = table.count;
    for (size_t i = 0; i < table.count; i++) hash = 31 * hash + hash_channel(table.runs[i].path);
    lay_run_table_free(&table);
    json_decref(truth);
    scratch_close();
    return hash;
}

/* Every wish about the table leaves unit, faults and sound as they are: results with and without tach are pairs. */
static void only_the_table_differs(void **state) {
    (void)state;
    for (uint64_t seed = 31; seed <= 34; seed++) {
        lay_sim_options options = {
            .seed = seed, .world = (lay_world)(seed % 4), .tach = true, .rate = 8000, .seconds = 2};
        json_t *faults, *others;
        uint64_t with_tach = hash_recordings(&options, &faults);
        options.tach = false;
        options.speed_truth = true;
        for (int g = 0; g < LAY_GIVEN_COUNT; g++) {
            options.speed_given = (lay_speed_given)g;
            assert_true(hash_recordings(&options, &others) == with_tach);
            assert_true(json_equal(faults, others));
            json_decref(others);
        }
        json_decref(faults);
    }
}

static void check_row(const lay_run_spec *row, const json_t *truth, lay_speed_given given) {
    double low = json_number_value(json_object_get(truth, "min_rpm"));
    double high = json_number_value(json_object_get(truth, "max_rpm"));
    assert_string_equal(json_string_value(json_object_get(truth, "given")), lay_speed_given_name(given));
    assert_int_equal(row->tach_channel, 0);
    bool says_rpm = given == LAY_GIVEN_STATED || given == LAY_GIVEN_ROUGH || given == LAY_GIVEN_RANGE;
    assert_true(says_rpm == (row->rpm_low > 0));
    assert_true((given == LAY_GIVEN_LOG) == (row->rpm_log[0] != 0));
    double slack = given == LAY_GIVEN_ROUGH ? 0.12 : 0.02; /* four deviations; and rounding to 50 rpm */
    if (given == LAY_GIVEN_STATED || given == LAY_GIVEN_ROUGH) {
        assert_true(row->rpm_low > (1 - slack) * low - 25);
        assert_true(row->rpm_high < (1 + slack) * high + 25);
    }
    if (given == LAY_GIVEN_RANGE) assert_true(row->rpm_low < low && row->rpm_high > high);
}

static void tables_say_what_is_given(void **state) {
    (void)state;
    for (int g = 0; g < LAY_GIVEN_MIXED; g++) {
        lay_sim_options options = {
            .seed = 41, .world = LAY_WORLD_CABIN, .rate = 8000, .seconds = 2, .speed_given = (lay_speed_given)g};
        json_t *truth = simulated_job(&options);
        lay_run_table table = {0};
        assert_int_equal(lay_run_table_load(scratch_path("runs.csv"), &table, NULL), LAY_OK);
        for (size_t i = 0; i < table.count; i++)
            check_row(&table.runs[i], json_array_get(json_object_get(truth, "runs"), i), (lay_speed_given)g);
        lay_run_table_free(&table);
        json_decref(truth);
        scratch_close();
    }
    lay_error err = {0};
    lay_sim_options both = {.seed = 41, .tach = true, .speed_given = LAY_GIVEN_NONE};
    assert_int_equal(lay_sim_job("/tmp/layshaft-sim-never-made", NULL, &both, NULL, NULL, &err), LAY_BAD_INPUT);
}

/* ---- rpm logs ---- */

/* Rows of a log against the truth's own list, by the definition in sim.h; returns how many could be compared. */
static int check_log(const char *path, const json_t *run) {
    const json_t *log = json_object_get(run, "log");
    double offset = json_number_value(json_object_get(log, "offset_s"));
    double drift = json_number_value(json_object_get(log, "drift"));
    double lag = json_number_value(json_object_get(log, "lag_s"));
    size_t length = json_array_size(json_object_get(json_object_get(run, "speed"), "rpm"));
    char line[200];
    int compared = 0;
    double last = -1e9;
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file)); /* headings */
    while (fgets(line, sizeof line, file)) {
        double stamp = strtod(line, NULL), rpm = strtod(strrchr(line, ',') + 1, NULL);
        assert_true(stamp >= 0 && stamp > last);
        last = stamp;
        double at = (stamp * (1 + drift) + offset - lag) / 0.05;
        if (at < 0 || at + 1 >= (double)length) continue;
        size_t k = (size_t)at;
        double before = simulated_rpm(run, "rpm", k), after = simulated_rpm(run, "rpm", k + 1);
        assert_close(rpm, before + (at - (double)k) * (after - before), 0.6, 1e-4); /* half a digit, and the chord */
        compared++;
    }
    fclose(file);
    return compared;
}

static void logs_keep_their_clock(void **state) {
    (void)state;
    for (uint64_t seed = 51; seed <= 54; seed++) {
        lay_sim_options options = {.seed = seed,
                                   .world = LAY_WORLD_ROAD,
                                   .rate = 8000,
                                   .seconds = 8,
                                   .speed_given = LAY_GIVEN_LOG,
                                   .speed_truth = true};
        json_t *truth = simulated_job(&options), *run;
        lay_run_table table = {0};
        size_t i;
        assert_int_equal(lay_run_table_load(scratch_path("runs.csv"), &table, NULL), LAY_OK);
        json_array_foreach(json_object_get(truth, "runs"), i, run)
            assert_true(check_log(table.runs[i].rpm_log, run) >= 3);
        lay_run_table_free(&table);
        json_decref(truth);
        scratch_close();
    }
}

/* Rates, clocks and rounding cover what was promised. */
static void logs_are_drawn_widely(void **state) {
    (void)state;
    lay_random random;
    lay_random_seed(&random, 61);
    double slowest = 1e9, fastest = 0, least = 0, most = -1e9, drift = 0;
    for (int i = 0; i < 500; i++) {
        lay_sim_log log;
        lay_sim_log_draw(&random, 10, &log);
        slowest = fmin(slowest, log.rate_hz);
        fastest = fmax(fastest, log.rate_hz);
        least = fmin(least, log.offset_s);
        most = fmax(most, log.offset_s);
        drift = fmax(drift, fabs(log.drift));
        assert_true(log.from_s - log.offset_s >= 0); /* no row before the tool's clock began */
        assert_true(log.lag_s >= 0.1 && log.lag_s <= 0.5);
    }
    assert_true(slowest >= 1 && slowest < 1.2 && fastest > 17 && fastest <= 20);
    assert_true(least < -19 && least >= -20 && most > 0.5);
    assert_true(drift > 190e-6 && drift <= 200e-6);
}

/* ---- road speed ---- */

/* A road speed cell leads back to the mean speed of the shaft, through kinematics and the tyre in the unit file, within
 * its rounding and the wear of the tyre. */
static void check_road_cell(const lay_unit *unit, const lay_run_spec *row, double mean_rpm, double unit_ms) {
    lay_kinematics k = {0};
    assert_int_equal(lay_unit_solve(unit, lay_unit_gear(unit, row->gear), &k, NULL), LAY_OK);
    double turns = fabs(k.speed[unit->axle.body].value) * unit->axle.pinion / unit->axle.ring;
    double ms = mean_rpm / 60 * turns * unit->axle.rolling_m;
    assert_close(row->road_speed_ms, ms, 0.5 * unit_ms, 0.016);
    lay_kinematics_free(&k);
}

static void road_speed_is_that_of_the_wheels(void **state) {
    (void)state;
    int cells = 0;
    for (uint64_t seed = 71; seed <= 76; seed++) {
        lay_sim_options options = {
            .seed = seed, .world = LAY_WORLD_ROAD, .rate = 8000, .seconds = 2, .speed_given = LAY_GIVEN_ROAD};
        json_t *truth = simulated_job(&options), *run;
        lay_unit *unit = NULL;
        lay_run_table table = {0};
        size_t i;
        assert_int_equal(lay_unit_load(scratch_path("unit.ini"), &unit, NULL), LAY_OK);
        assert_int_equal(lay_run_table_load(scratch_path("runs.csv"), &table, NULL), LAY_OK);
        assert_true(unit->axle.rolling_m > 1.5 && unit->axle.rolling_m < 2.5);
        json_array_foreach(json_object_get(truth, "runs"), i, run) {
            if (!(table.runs[i].road_speed_ms > 0)) continue;
            check_road_cell(unit, &table.runs[i], json_number_value(json_object_get(run, "mean_rpm")), 0.44704);
            cells++;
        }
        lay_run_table_free(&table);
        lay_unit_free(unit);
        json_decref(truth);
        scratch_close();
    }
    assert_true(cells > 5);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_the_table_differs),
        cmocka_unit_test(tables_say_what_is_given),
        cmocka_unit_test(logs_keep_their_clock),
        cmocka_unit_test(logs_are_drawn_widely),
        cmocka_unit_test(road_speed_is_that_of_the_wheels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
