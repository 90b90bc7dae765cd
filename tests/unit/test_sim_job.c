/* Simulated job folders: complete, readable, the same for the same seed, never overwriting. */
#include <layshaft/sim.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <jansson.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *new_folder(void) {
    static char template[64];
    strcpy(template, "/tmp/layshaft-sim-XXXXXX");
    assert_non_null(mkdtemp(template));
    return template;
}

static void remove_job(const char *folder) {
    lay_run_table table = {0};
    char *path = lay_path_join(folder, "runs.csv");
    if (lay_run_table_load(path, &table, NULL) == LAY_OK)
        for (size_t i = 0; i < table.count; i++) remove(table.runs[i].path);
    lay_run_table_free(&table);
    remove(path);
    free(path);
    static const char *const rest[] = {"unit.ini", "truth.json"};
    for (size_t i = 0; i < 2; i++) {
        path = lay_path_join(folder, rest[i]);
        remove(path);
        free(path);
    }
    rmdir(folder);
}

static lay_sim_options options_for(uint64_t seed, lay_world world) {
    return (lay_sim_options){.seed = seed,
                             .world = world,
                             .tach = seed % 2 == 0,
                             .rate = 16000,
                             .seconds = 2,
                             .kinds = (1u << LAY_FAULT_COUNT) - 1u};
}

static void make(const char *folder, const lay_sim_options *options, lay_fault *faults, size_t *count) {
    lay_error err = {0};
    if (lay_sim_job(folder, NULL, options, faults, count, &err) != LAY_OK) fail_msg("%s", err.message);
}

static uint64_t hash_file(const char *path) {
    char *data;
    size_t length;
    uint64_t hash = 1469598103934665603u; /* FNV-1a */
    assert_int_equal(lay_read_file(path, 1u << 26, &data, &length, NULL), LAY_OK);
    for (size_t i = 0; i < length; i++) hash = (hash ^ (unsigned char)data[i]) * 1099511628211u;
    free(data);
    return hash;
}

/* Recordings of the table: readable, long enough, without a single cut crest unless the truth says so. */
static void check_recordings(const lay_run_table *table, bool clipped) {
    double *x = lay_calloc(1u << 18, sizeof *x);
    for (size_t i = 0; i < table->count; i++) {
        lay_recording *rec = NULL;
        lay_error err = {0};
        size_t got;
        if (lay_recording_open(table->runs[i].path, 0, &rec, &err) != LAY_OK) fail_msg("%s", err.message);
        const lay_recording_info *info = lay_recording_get_info(rec);
        assert_int_equal(info->channels, table->runs[i].tach_channel > 0 ? 2 : 1);
        assert_int_equal(info->frames, 32000);
        assert_int_equal(lay_recording_read(rec, x, (size_t)info->frames, &got, &err), LAY_OK);
        double peak = 0, sum = 0;
        for (size_t k = 0; k < got; k++) {
            double v = x[k * (size_t)info->channels];
            peak = fmax(peak, fabs(v));
            sum += v * v;
        }
        assert_true(sum > 0);
        if (!clipped) assert_true(peak < 0.9998);
        lay_recording_close(rec);
    }
    free(x);
}

static void check_job(const char *folder, const lay_fault *faults, size_t fault_count) {
    lay_error err = {0};
    lay_unit *unit = NULL;
    lay_run_table table = {0};
    char *unit_path = lay_path_join(folder, "unit.ini"), *table_path = lay_path_join(folder, "runs.csv");
    char *truth_path = lay_path_join(folder, "truth.json");
    if (lay_unit_load(unit_path, &unit, &err) != LAY_OK) fail_msg("%s", err.message);
    if (lay_run_table_load(table_path, &table, &err) != LAY_OK) fail_msg("%s", err.message);
    json_t *truth = json_load_file(truth_path, 0, NULL);
    assert_non_null(truth);
    assert_int_equal(json_array_size(json_object_get(truth, "faults")), fault_count);
    assert_int_equal(json_array_size(json_object_get(truth, "runs")), table.count);
    assert_true(table.count >= 3 && table.count <= 9);
    const char *outcome = json_string_value(json_object_get(truth, "outcome"));
    if (fault_count == 0) assert_string_equal(outcome, "clear");
    for (size_t i = 0; i < fault_count; i++) {
        assert_true(faults[i].strength_db > 1.0 && faults[i].strength_db < 21.0);
        if (faults[i].kind < LAY_FAULT_AXLE) assert_string_equal(outcome, "attention");
    }
    for (size_t i = 0; i < table.count; i++) assert_true(lay_unit_gear(unit, table.runs[i].gear) >= 0);
    check_recordings(&table, json_is_true(json_object_get(truth, "clipped")));
    json_decref(truth);
    lay_run_table_free(&table);
    lay_unit_free(unit);
    free(unit_path);
    free(table_path);
    free(truth_path);
}

static void jobs_are_complete(void **state) {
    (void)state;
    int healthy = 0, kinds = 0;
    for (uint64_t seed = 1; seed <= 60; seed++) {
        lay_fault faults[4];
        size_t count;
        lay_sim_options options = options_for(seed, (lay_world)(seed % LAY_WORLD_COUNT));
        const char *folder = new_folder();
        make(folder, &options, faults, &count);
        check_job(folder, faults, count);
        healthy += count == 0;
        for (size_t i = 0; i < count; i++) kinds |= 1 << faults[i].kind;
        remove_job(folder);
    }
    assert_true(healthy > 8 && healthy < 32);
    assert_true(kinds & 1 << LAY_FAULT_MESH && kinds & 1 << LAY_FAULT_ECCENTRIC && kinds & 1 << LAY_FAULT_AXLE);
}

static uint64_t hash_job(uint64_t seed, lay_world world) {
    lay_sim_options options = options_for(seed, world);
    const char *folder = new_folder();
    make(folder, &options, NULL, NULL);
    lay_run_table table = {0};
    char *path = lay_path_join(folder, "runs.csv");
    assert_int_equal(lay_run_table_load(path, &table, NULL), LAY_OK);
    uint64_t hash = hash_file(path);
    for (size_t i = 0; i < table.count; i++) hash = hash * 31 + hash_file(table.runs[i].path);
    free(path);
    lay_run_table_free(&table);
    remove_job(folder);
    return hash;
}

static void the_seed_decides_everything(void **state) {
    (void)state;
    for (int w = 0; w < LAY_WORLD_COUNT; w++) assert_true(hash_job(8, (lay_world)w) == hash_job(8, (lay_world)w));
    assert_true(hash_job(8, LAY_WORLD_ROAD) != hash_job(10, LAY_WORLD_ROAD));
}

static void nothing_is_overwritten(void **state) {
    (void)state;
    lay_error err = {0};
    lay_sim_options options = options_for(4, LAY_WORLD_QUIET);
    const char *folder = new_folder();
    make(folder, &options, NULL, NULL);
    char *path = lay_path_join(folder, "runs.csv");
    uint64_t before = hash_file(path);
    options.seed = 5;
    assert_int_equal(lay_sim_job(folder, NULL, &options, NULL, NULL, &err), LAY_BAD_INPUT);
    assert_true(hash_file(path) == before);
    free(path);
    remove_job(folder);
}

static void impossible_wishes_are_refused(void **state) {
    (void)state;
    lay_error err = {0};
    const char *nowhere = "/tmp/layshaft-sim-never-made";
    lay_sim_options good = options_for(4, LAY_WORLD_QUIET), bad = good;
    bad.rate = -1;
    assert_int_equal(lay_sim_job(nowhere, NULL, &bad, NULL, NULL, &err), LAY_BAD_INPUT);
    bad = good;
    bad.seconds = NAN;
    assert_int_equal(lay_sim_job(nowhere, NULL, &bad, NULL, NULL, &err), LAY_BAD_INPUT);
    bad = good;
    bad.strength_low_db = 12, bad.strength_high_db = 3;
    assert_int_equal(lay_sim_job(nowhere, NULL, &bad, NULL, NULL, &err), LAY_BAD_INPUT);
    lay_fault fault = {.kind = LAY_FAULT_MESH, .index = 99, .drive = true};
    bad = good;
    bad.faults = &fault;
    bad.fault_count = 1;
    assert_int_equal(lay_sim_job(nowhere, NULL, &bad, NULL, NULL, &err), LAY_BAD_INPUT);
    assert_true(access(nowhere, F_OK) != 0);
}

static void names_read_back(void **state) {
    (void)state;
    for (int k = 0; k < LAY_FAULT_COUNT; k++) {
        lay_fault_kind kind;
        assert_true(lay_fault_kind_parse(lay_fault_kind_name((lay_fault_kind)k), &kind) && (int)kind == k);
    }
    for (int w = 0; w < LAY_WORLD_COUNT; w++) {
        lay_world world;
        assert_true(lay_world_parse(lay_world_name((lay_world)w), &world) && (int)world == w);
    }
    lay_world world;
    assert_false(lay_world_parse("moon", &world));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(jobs_are_complete),      cmocka_unit_test(the_seed_decides_everything),
        cmocka_unit_test(nothing_is_overwritten), cmocka_unit_test(impossible_wishes_are_refused),
        cmocka_unit_test(names_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
