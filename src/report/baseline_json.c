/* A baseline as a JSON file, and read back. */
#include <layshaft/report.h>

#include <jansson.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "run_json.h"

#define LONGEST ((size_t)256 << 20)
#define KIND "baseline"
#define FORMAT 2

static const char *sensor_word(lay_sensor sensor) {
    return sensor == LAY_SENSOR_MIC ? "mic" : sensor == LAY_SENSOR_ACCEL ? "accel" : "";
}

static const char *quantity_word(lay_quantity quantity) {
    return quantity == LAY_PRESSURE ? "Pa" : quantity == LAY_ACCELERATION ? "m/s2" : "";
}

static const char *type_word(lay_part_type type) {
    return type == LAY_PART_BEARING ? "bearing" : "mesh";
}

/* ---- writing ---- */

/* The levels of one unit: from the first to the last band that was measured. */
static void levels(lay_json *j, const lay_baseline_level *of) {
    int first = 0, last = LAY_BASELINE_BANDS - 1;
    while (first <= last && isnan(of[first].level_db)) first++;
    while (last >= first && isnan(of[last].level_db)) last--;
    lay_json_open_object(j, NULL);
    lay_json_integer(j, "first_band", first <= last ? first : 0);
    lay_json_open_array(j, "level_db");
    for (int b = first; b <= last; b++) lay_json_number(j, NULL, of[b].level_db, 3);
    lay_json_close_array(j);
    lay_json_open_array(j, "noise_db");
    for (int b = first; b <= last; b++) lay_json_number(j, NULL, of[b].noise_db, 3);
    lay_json_close_array(j);
    lay_json_open_array(j, "averages");
    for (int b = first; b <= last; b++) lay_json_number(j, NULL, of[b].averages, 1);
    lay_json_close_array(j);
    lay_json_close_object(j);
}

/* The tone alone; where it drowns, the deviation of the noise. */
static double tone_db(const lay_baseline_level *level) {
    return lay_db_power(fmax(lay_baseline_tone(level), lay_baseline_doubt(level)));
}

static void mean_and_spread(lay_json *j, const lay_baseline *b, const lay_baseline_line *l) {
    double sum = 0, squares = 0, n = 0;
    for (size_t u = 0; u < b->unit_count; u++) {
        double level = 0, bands = 0;
        for (size_t k = 0; k < LAY_BASELINE_BANDS; k++) {
            const lay_baseline_level *at = &l->levels[u * LAY_BASELINE_BANDS + k];
            if (!isnan(at->level_db)) level += tone_db(at), bands += 1;
        }
        if (bands == 0) continue;
        sum += level / bands;
        squares += level / bands * (level / bands);
        n += 1;
    }
    lay_json_integer(j, "count", (long long)n);
    lay_json_number(j, "mean_db", n > 0 ? sum / n : NAN, 2);
    lay_json_number(j, "spread_db", n > 1 ? sqrt(fmax(0, (squares - sum * sum / n) / (n - 1))) : NAN, 2);
}

static void line(lay_json *j, const lay_baseline *b, const lay_baseline_line *l) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "part", l->part);
    lay_json_string(j, "type", type_word(l->type));
    lay_json_integer(j, "harmonic", l->harmonic);
    lay_json_integer(j, "sideband", l->sideband);
    lay_json_integer(j, "wheel", l->wheel);
    lay_json_bool(j, "carries_torque", l->loaded);
    mean_and_spread(j, b, l);
    lay_json_open_array(j, "own");
    for (size_t u = 0; u < b->unit_count; u++) lay_json_bool(j, NULL, l->own[u]);
    lay_json_close_array(j);
    lay_json_open_array(j, "units");
    for (size_t u = 0; u < b->unit_count; u++) levels(j, l->levels + u * LAY_BASELINE_BANDS);
    lay_json_close_array(j);
    lay_json_close_object(j);
}

static void conditions(lay_json *j, const lay_baseline *b) {
    lay_json_open_array(j, "conditions");
    for (size_t c = 0; c < b->condition_count; c++) {
        lay_json_open_object(j, NULL);
        lay_json_string(j, "gear", b->conditions[c].gear);
        lay_json_string(j, "load", lay_load_name(b->conditions[c].load));
        lay_json_open_array(j, "lines");
        for (size_t k = 0; k < b->conditions[c].line_count; k++) line(j, b, &b->conditions[c].lines[k]);
        lay_json_close_array(j);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

lay_status lay_report_baseline_file(const lay_baseline *b, lay_text *out) {
    lay_json j = {.out = out};
    lay_json_open_object(&j, NULL);
    lay_json_string(&j, "layshaft", LAY_VERSION);
    lay_json_integer(&j, "format", FORMAT);
    lay_json_string(&j, "kind", KIND);
    lay_json_string(&j, "unit", b->unit);
    lay_json_word(&j, "sensor", sensor_word(b->sensor));
    lay_json_word(&j, "quantity", quantity_word(b->quantity));
    lay_json_number(&j, "lowest_hz", LAY_BASELINE_LOW_HZ, 3);
    lay_json_number(&j, "band_ln", LAY_BASELINE_BAND, 3);
    lay_json_open_array(&j, "meshes");
    for (size_t m = 0; m < b->mesh_count; m++) {
        lay_json_open_object(&j, NULL);
        lay_json_string(&j, "mesh", b->meshes[m].name);
        lay_json_integer(&j, "driver", b->meshes[m].driver);
        lay_json_integer(&j, "driven", b->meshes[m].driven);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_open_array(&j, "units");
    for (size_t u = 0; u < b->unit_count; u++) lay_json_string(&j, NULL, b->units[u]);
    lay_json_close_array(&j);
    conditions(&j, b);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

/* ---- reading ---- */

typedef struct reading {
    const char *path;
    lay_baseline *b;
    lay_error *err;
} reading;

static lay_status wrong(const reading *r, const char *what) {
    return lay_fail_file(r->err, LAY_BAD_INPUT, r->path, "this is no baseline that can be used: %s", what);
}

static lay_status no_memory(const reading *r) {
    return lay_fail(r->err, LAY_NO_MEMORY, "not enough memory for the baseline");
}

static const char *text_at(const json_t *object, const char *name) {
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

static lay_status read_head(reading *r, const json_t *root) {
    lay_baseline *b = r->b;
    if (strcmp(text_at(root, "kind"), KIND) != 0 || !text_at(root, "unit")[0])
        return wrong(r, "it is no file that 'layshaft baseline' wrote");
    if (json_integer_value(json_object_get(root, "format")) != FORMAT) return wrong(r, "it comes from another version");
    double low = json_number_value(json_object_get(root, "lowest_hz"));
    double band = json_number_value(json_object_get(root, "band_ln"));
    if (fabs(low - LAY_BASELINE_LOW_HZ) > 1e-6 || fabs(band - LAY_BASELINE_BAND) > 1e-6)
        return wrong(r, "its bands of speed are others");
    b->unit = lay_strdup(text_at(root, "unit"));
    b->sensor = strcmp(text_at(root, "sensor"), "mic") == 0     ? LAY_SENSOR_MIC
                : strcmp(text_at(root, "sensor"), "accel") == 0 ? LAY_SENSOR_ACCEL
                                                                : LAY_SENSOR_UNKNOWN;
    b->quantity = strcmp(text_at(root, "quantity"), "Pa") == 0     ? LAY_PRESSURE
                  : strcmp(text_at(root, "quantity"), "m/s2") == 0 ? LAY_ACCELERATION
                                                                   : LAY_FULL_SCALE;
    return b->unit ? LAY_OK : no_memory(r);
}

static lay_status read_meshes(reading *r, const json_t *root) {
    const json_t *list = json_object_get(root, "meshes"), *m;
    size_t i;
    r->b->meshes = lay_calloc(json_array_size(list) + 1, sizeof *r->b->meshes);
    if (!r->b->meshes) return no_memory(r);
    json_array_foreach(list, i, m) {
        lay_baseline_mesh *mesh = &r->b->meshes[i];
        mesh->name = lay_strdup(text_at(m, "mesh"));
        mesh->driver = (int)json_integer_value(json_object_get(m, "driver"));
        mesh->driven = (int)json_integer_value(json_object_get(m, "driven"));
        r->b->mesh_count = i + 1;
        if (!mesh->name) return no_memory(r);
        if (!mesh->name[0] || mesh->driver < 1 || mesh->driven < 1) return wrong(r, "a mesh has no name or no teeth");
    }
    return LAY_OK;
}

static lay_status read_units(reading *r, const json_t *root) {
    const json_t *list = json_object_get(root, "units"), *name;
    size_t i;
    lay_status status = LAY_OK;
    json_array_foreach(list, i, name) {
        if (status != LAY_OK) break;
        if (!json_string_value(name)) return wrong(r, "a unit has no name");
        status = lay_baseline_grow(r->b, json_string_value(name), r->err);
    }
    return status;
}

static double number_in(const json_t *list, size_t i) {
    const json_t *value = json_array_get(list, i);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

/* A band is measured with its noise, or not at all. */
static lay_status read_levels(reading *r, lay_baseline_line *l, size_t unit, const json_t *of) {
    const json_t *list = json_object_get(of, "level_db"), *noise = json_object_get(of, "noise_db"),
                 *averages = json_object_get(of, "averages");
    json_int_t first = json_integer_value(json_object_get(of, "first_band"));
    if (first < 0 || first + (json_int_t)json_array_size(list) > LAY_BASELINE_BANDS)
        return wrong(r, "levels lie outside the bands of speed");
    for (size_t i = 0; i < json_array_size(list); i++) {
        lay_baseline_level at = {number_in(list, i), number_in(noise, i), number_in(averages, i)};
        if (isnan(at.level_db)) continue;
        if (!(fabs(at.level_db) < 1000 && fabs(at.noise_db) < 1000)) return wrong(r, "a level is no decibel value");
        if (!(at.averages >= 0 && at.averages < 1e9)) return wrong(r, "a level has no number of averages");
        l->levels[unit * LAY_BASELINE_BANDS + (size_t)first + i] = at;
    }
    return LAY_OK;
}

static lay_status read_line(reading *r, lay_baseline_condition *c, const json_t *of) {
    lay_baseline_line like = {.part = (char *)(uintptr_t)text_at(of, "part"),
                              .type = strcmp(text_at(of, "type"), "bearing") == 0 ? LAY_PART_BEARING : LAY_PART_MESH,
                              .harmonic = (int)json_integer_value(json_object_get(of, "harmonic")),
                              .sideband = (int)json_integer_value(json_object_get(of, "sideband")),
                              .wheel = (int)json_integer_value(json_object_get(of, "wheel")),
                              .loaded = json_is_true(json_object_get(of, "carries_torque"))};
    const json_t *units = json_object_get(of, "units"), *own = json_object_get(of, "own");
    if (!like.part[0] || like.harmonic < 1 || like.harmonic > 1000 || abs(like.sideband) > 1000 || like.wheel < -1 ||
        like.wheel > 1)
        return wrong(r, "a line is incomplete");
    if (json_array_size(units) != r->b->unit_count || json_array_size(own) != r->b->unit_count)
        return wrong(r, "a line does not hold every unit");
    lay_baseline_line *l = lay_baseline_line_at(r->b, c, &like, r->err);
    if (!l) return no_memory(r);
    lay_status status = LAY_OK;
    for (size_t u = 0; u < r->b->unit_count && status == LAY_OK; u++) {
        l->own[u] = json_is_true(json_array_get(own, u));
        status = read_levels(r, l, u, json_array_get(units, u));
    }
    return status;
}

static lay_status read_conditions(reading *r, const json_t *root) {
    const json_t *list = json_object_get(root, "conditions"), *of, *line_of;
    size_t i, k;
    lay_status status = LAY_OK;
    json_array_foreach(list, i, of) {
        lay_load load;
        if (!text_at(of, "gear")[0] || !lay_load_parse(text_at(of, "load"), &load))
            return wrong(r, "a condition has no gear or load");
        lay_baseline_condition *c = lay_baseline_condition_at(r->b, text_at(of, "gear"), load, r->err);
        if (!c) return no_memory(r);
        json_array_foreach(json_object_get(of, "lines"), k, line_of) {
            if (status == LAY_OK) status = read_line(r, c, line_of);
        }
    }
    return status;
}

lay_status lay_report_baseline_parse(const char *text, size_t length, const char *path, lay_baseline **out,
                                     lay_error *err) {
    json_error_t at;
    json_t *root = json_loadb(text, length, 0, &at);
    *out = NULL;
    if (!root)
        return lay_fail_at(err, LAY_BAD_INPUT, path, at.line, at.column, 1, NULL, "this is no JSON: %.100s", at.text);
    reading r = {path, lay_baseline_new(), err};
    lay_status status = r.b ? read_head(&r, root) : no_memory(&r);
    if (status == LAY_OK) status = read_meshes(&r, root);
    if (status == LAY_OK) status = read_units(&r, root);
    if (status == LAY_OK) status = read_conditions(&r, root);
    json_decref(root);
    if (status == LAY_OK)
        *out = r.b;
    else
        lay_baseline_free(r.b);
    return status;
}

lay_status lay_report_baseline_read(const char *path, lay_baseline **out, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = NULL;
    lay_status status = lay_read_file(path, LONGEST, &text, &length, err);
    if (status == LAY_OK) status = lay_report_baseline_parse(text, length, path, out, err);
    free(text);
    return status;
}
