#include "speed.h"

#include "clock.h"

#include <layshaft/source.h>

#include <math.h>
#include <stdlib.h>

/* A list of rpm with nulls; NaN where there is none. */
static double entry(const json_t *list, size_t i) {
    const json_t *value = json_array_get(list, i);
    return json_is_number(value) ? json_number_value(value) / 60.0 : NAN;
}

typedef struct errors {
    double *relative, *ratio;
    size_t count;
} errors;

static void count_frame(double found, double truth, double shaft, fleet_speed *out, errors *e) {
    double off = found / truth - 1.0;
    if (isnan(truth)) {
        out->void_frames++;
        out->cut += isnan(found);
        out->shaft_anyway += fabs(found / shaft - 1.0) < 0.005;
        return;
    }
    out->frames++;
    if (isnan(found)) return;
    out->spoken++;
    out->within_tenth += fabs(off) < 0.001;
    out->within_half += fabs(off) < 0.005;
    e->relative[e->count] = fabs(off);
    e->ratio[e->count++] = found / truth;
}

static void compare(const lay_run_speed *speed, const json_t *truth, fleet_speed *out) {
    const json_t *lists = json_object_get(truth, "speed"), *rpm = json_object_get(lists, "rpm");
    const json_t *shaft = json_object_get(lists, "shaft_rpm");
    double step = json_number_value(json_object_get(lists, "step_s"));
    size_t count = json_array_size(rpm), hint = 0;
    errors e = {.relative = lay_calloc(count + 1, sizeof(double)), .ratio = lay_calloc(count + 1, sizeof(double))};
    for (size_t i = 0; i < count && e.relative && e.ratio; i++) {
        double turns, hz;
        bool spoken = speed->found && lay_shaft_at(&speed->shaft, step * (double)i, &hint, &turns, &hz);
        count_frame(spoken ? hz : NAN, entry(rpm, i), entry(shaft, i), out, &e);
    }
    out->median = (float)lay_median(e.relative, e.count);
    out->p95 = (float)lay_quantile(e.relative, e.count, 0.95);
    out->ratio = (float)lay_median(e.ratio, e.count);
    free(e.relative);
    free(e.ratio);
}

static int given_of(const json_t *truth) {
    const char *word = json_string_value(json_object_get(truth, "given"));
    lay_speed_given given = LAY_GIVEN_COUNT;
    if (word) lay_speed_given_parse(word, &given);
    return (int)given;
}

static double rpm_of(const json_t *truth, const char *key) {
    return json_number_value(json_object_get(truth, key));
}

static void one(const lay_unit *unit, const lay_run_table *table, size_t i, const json_t *truth, fleet_speed *out) {
    lay_run_speed speed = {0};
    lay_error err = {0};
    *out = (fleet_speed){.given = given_of(truth), .median = NAN, .p95 = NAN, .ratio = NAN};
    double start = fleet_now();
    lay_status status = lay_run_find_speed(unit, &table->runs[i], table->path, &speed, &err);
    out->took_s = (float)(fleet_now() - start);
    out->failed = status != LAY_OK;
    if (out->failed) fprintf(stderr, "%s: %s\n", table->runs[i].path, err.message);
    out->found = status == LAY_OK && speed.found;
    const char *gear = json_string_value(json_object_get(truth, "gear"));
    out->gear_right = out->found && gear && speed.gear == lay_unit_gear(unit, gear);
    out->sweep = rpm_of(truth, "max_rpm") > 1.1 * rpm_of(truth, "min_rpm");
    out->seconds = (float)speed.duration_s;
    out->confidence = out->found ? (float)speed.shaft.confidence : 0.0f;
    compare(&speed, truth, out);
    lay_run_speed_free(&speed);
}

lay_status fleet_speed_job(const json_t *truth, const lay_unit *unit, const lay_run_table *table, fleet_speed *out,
                           int *count, lay_error *err) {
    const json_t *runs = json_object_get(truth, "runs");
    *count = 0;
    if (json_array_size(runs) != table->count || table->count > FLEET_RUNS)
        return lay_fail(err, LAY_BAD_INPUT, "the truth and the table speak of different runs");
    for (size_t i = 0; i < table->count; i++) one(unit, table, i, json_array_get(runs, i), &out[i]);
    *count = (int)table->count;
    return LAY_OK;
}
