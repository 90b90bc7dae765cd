/* Good units of one build: what they measured, job by job. */
#include <layshaft/judge.h>

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

lay_baseline *lay_baseline_new(void) {
    return lay_calloc(1, sizeof(lay_baseline));
}

void lay_baseline_free(lay_baseline *b) {
    if (!b) return;
    for (size_t i = 0; i < b->condition_count; i++) {
        lay_baseline_condition *c = &b->conditions[i];
        for (size_t k = 0; k < c->line_count; k++) {
            free(c->lines[k].part);
            free(c->lines[k].levels);
            free(c->lines[k].own);
        }
        free(c->lines);
        free(c->gear);
    }
    for (size_t i = 0; i < b->mesh_count; i++) free(b->meshes[i].name);
    for (size_t i = 0; i < b->unit_count; i++) free(b->units[i]);
    free(b->conditions);
    free(b->meshes);
    free(b->units);
    free(b->unit);
    free(b);
}

/* ---- room ---- */

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the baseline");
}

/* Room in a line for `units`; new places are unknown. */
static bool widen(lay_baseline_line *line, size_t from, size_t units) {
    lay_baseline_level *levels = realloc(line->levels, (units + 1) * LAY_BASELINE_BANDS * sizeof *levels);
    if (levels) line->levels = levels;
    bool *own = realloc(line->own, (units + 1) * sizeof *own);
    if (own) line->own = own;
    if (!levels || !own) return false;
    for (size_t i = from * LAY_BASELINE_BANDS; i < units * LAY_BASELINE_BANDS; i++)
        levels[i] = (lay_baseline_level){NAN, NAN, 0};
    for (size_t i = from; i < units; i++) own[i] = false;
    return true;
}

lay_status lay_baseline_grow(lay_baseline *b, const char *name, lay_error *err) {
    if (b->unit_count == b->unit_capacity) {
        size_t wanted = b->unit_capacity ? 2 * b->unit_capacity : 4;
        char **units = realloc(b->units, wanted * sizeof *units);
        if (!units) return no_memory(err);
        b->units = units;
        for (size_t i = 0; i < b->condition_count; i++)
            for (size_t k = 0; k < b->conditions[i].line_count; k++)
                if (!widen(&b->conditions[i].lines[k], b->unit_capacity, wanted)) return no_memory(err);
        b->unit_capacity = wanted;
    }
    if (!(b->units[b->unit_count] = lay_strdup(name))) return no_memory(err);
    b->unit_count++;
    return LAY_OK;
}

lay_baseline_condition *lay_baseline_condition_at(lay_baseline *b, const char *gear, lay_load load, lay_error *err) {
    for (size_t i = 0; i < b->condition_count; i++)
        if (b->conditions[i].load == load && strcasecmp(b->conditions[i].gear, gear) == 0) return &b->conditions[i];
    void *items = b->conditions;
    lay_status status = lay_grow(&items, &b->condition_capacity, b->condition_count, sizeof *b->conditions, err);
    b->conditions = items;
    if (status != LAY_OK) return NULL;
    lay_baseline_condition *c = &b->conditions[b->condition_count];
    *c = (lay_baseline_condition){.gear = lay_strdup(gear), .load = load};
    if (!c->gear) {
        no_memory(err);
        return NULL;
    }
    b->condition_count++;
    return c;
}

lay_baseline_line *lay_baseline_line_at(lay_baseline *b, lay_baseline_condition *c, const lay_baseline_line *like,
                                        lay_error *err) {
    for (size_t k = 0; k < c->line_count; k++) {
        lay_baseline_line *l = &c->lines[k];
        bool same = l->type == like->type && l->harmonic == like->harmonic && l->sideband == like->sideband &&
                    (l->sideband == 0 || l->wheel == like->wheel);
        if (same && strcasecmp(l->part, like->part) == 0) return l;
    }
    void *items = c->lines;
    lay_status status = lay_grow(&items, &c->line_capacity, c->line_count, sizeof *c->lines, err);
    c->lines = items;
    if (status != LAY_OK) return NULL;
    lay_baseline_line *l = &c->lines[c->line_count];
    *l = *like;
    l->levels = NULL;
    l->own = NULL;
    l->part = lay_strdup(like->part);
    if (!l->part || !widen(l, 0, b->unit_capacity)) {
        free(l->part);
        free(l->levels);
        free(l->own);
        no_memory(err);
        return NULL;
    }
    c->line_count++;
    return l;
}

/* ---- does a job fit? ---- */

static const lay_mesh *mesh_named(const lay_unit *unit, const char *name) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (strcasecmp(unit->meshes[m].name, name) == 0) return &unit->meshes[m];
    return NULL;
}

static lay_status same_teeth(const lay_baseline *b, const lay_unit *unit, lay_error *err) {
    if (b->mesh_count != unit->mesh_count)
        return lay_fail_file(err, LAY_BAD_INPUT, unit->path, "the unit has %zu meshes, those of the baseline have %zu",
                             unit->mesh_count, b->mesh_count);
    for (size_t i = 0; i < b->mesh_count; i++) {
        const lay_baseline_mesh *x = &b->meshes[i];
        const lay_mesh *mesh = mesh_named(unit, x->name);
        if (!mesh)
            return lay_fail_file(err, LAY_BAD_INPUT, unit->path,
                                 "the units of the baseline have a mesh '%.60s', this one "
                                 "has none: it is another unit",
                                 x->name);
        if (mesh->driver.teeth != x->driver || mesh->driven.teeth != x->driven)
            return lay_fail_file(
                err, LAY_BAD_INPUT, unit->path,
                "'%.60s' has %d:%d teeth, in the baseline it has %d:%d: a baseline of these gears is needed", x->name,
                mesh->driver.teeth, mesh->driven.teeth, x->driver, x->driven);
    }
    return LAY_OK;
}

static const char *sensor_words(lay_sensor sensor) {
    return sensor == LAY_SENSOR_MIC     ? "a microphone"
           : sensor == LAY_SENSOR_ACCEL ? "an accelerometer"
                                        : "a sensor not named";
}

static const char *quantity_words(lay_quantity quantity) {
    return quantity == LAY_PRESSURE       ? "calibrated in Pa"
           : quantity == LAY_ACCELERATION ? "calibrated in m/s2"
                                          : "not calibrated";
}

lay_status lay_baseline_fits(const lay_baseline *b, const lay_measured *job, lay_error *err) {
    if (job->loudness.count == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, job->table->path, "no recording of this job can be measured: %s",
                             job->left_out.count ? job->left_out.items[0] : "runs.csv names none");
    if (!b->unit) return LAY_OK;
    if (strcasecmp(b->unit, job->unit->name) != 0)
        return lay_fail_file(err, LAY_BAD_INPUT, job->unit->path, "this is '%.60s', the baseline is of '%.60s'",
                             job->unit->name, b->unit);
    lay_status status = same_teeth(b, job->unit, err);
    if (status != LAY_OK) return status;
    const lay_loud_condition *c = &job->loudness.conditions[0];
    if (c->sensor != b->sensor)
        return lay_fail_file(err, LAY_BAD_INPUT, job->table->path, "recorded with %s, the baseline with %s",
                             sensor_words(c->sensor), sensor_words(b->sensor));
    if (c->quantity != b->quantity)
        return lay_fail_file(err, LAY_BAD_INPUT, job->table->path, "the recordings are %s, those of the baseline %s",
                             quantity_words(c->quantity), quantity_words(b->quantity));
    return LAY_OK;
}

static lay_status take_over(lay_baseline *b, const lay_measured *job, lay_error *err) {
    const lay_unit *unit = job->unit;
    if (b->unit) return LAY_OK;
    b->sensor = job->loudness.conditions[0].sensor;
    b->quantity = job->loudness.conditions[0].quantity;
    b->meshes = lay_calloc(unit->mesh_count + 1, sizeof *b->meshes);
    for (size_t m = 0; b->meshes && m < unit->mesh_count; m++) {
        const lay_mesh *mesh = &unit->meshes[m];
        b->meshes[m] = (lay_baseline_mesh){lay_strdup(mesh->name), mesh->driver.teeth, mesh->driven.teeth};
        b->mesh_count = m + 1;
        if (!b->meshes[m].name) return no_memory(err);
    }
    b->unit = lay_strdup(unit->name);
    return b->unit && b->meshes ? LAY_OK : no_memory(err);
}

/* ---- adding one ---- */

static int baseline_band(int band) {
    double hz = exp(LAY_BAND * (band + 0.5));
    return (int)floor(log(hz / LAY_BASELINE_LOW_HZ) / LAY_BASELINE_BAND);
}

double lay_baseline_tone(const lay_baseline_level *level) {
    return isnan(level->level_db) ? NAN : lay_db_to_power(level->level_db) - lay_db_to_power(level->noise_db);
}

double lay_baseline_doubt(const lay_baseline_level *level) {
    return isnan(level->level_db) ? NAN : lay_db_to_power(level->noise_db) / sqrt(fmax(1, level->averages));
}

/* Neighbouring bands are put together by their looks. */
static void fill(const lay_loud_condition *c, const lay_loud_line *line, lay_baseline_level *levels) {
    double power[LAY_BASELINE_BANDS] = {0}, noise[LAY_BASELINE_BANDS] = {0}, looks[LAY_BASELINE_BANDS] = {0},
           averages[LAY_BASELINE_BANDS] = {0}, offset = lay_quantity_offset_db(c->quantity);
    for (size_t i = 0; i < c->bands; i++) {
        int b = baseline_band(c->first_band + (int)i);
        double n = line->noise[i], spread = n * (n + 2 * fmax(0, line->power[i]));
        if (b < 0 || b >= LAY_BASELINE_BANDS || c->looks[i] <= 0 || !isfinite(line->variance[i])) continue;
        power[b] += c->looks[i] * line->power[i];
        noise[b] += c->looks[i] * n;
        averages[b] += line->variance[i] > 0 ? spread / line->variance[i] : 1;
        looks[b] += c->looks[i];
    }
    for (int b = 0; b < LAY_BASELINE_BANDS; b++) {
        if (looks[b] <= 0) continue;
        levels[b].level_db = lay_db_power((power[b] + noise[b]) / looks[b]) + offset;
        levels[b].noise_db = lay_db_power(noise[b] / looks[b]) + offset;
        levels[b].averages = averages[b];
    }
}

#define SIDEBAND_HARMONICS 2
#define NO_NOISE_DB (-200.0)
#define VAGUE 0.05 /* of a rate: noise alone finds something within that */

static bool wanted(const lay_loud_line *l) {
    bool toothed = l->type == LAY_PART_MESH;
    return toothed && (l->sideband == 0 || (abs(l->sideband) == 1 && l->harmonic <= SIDEBAND_HARMONICS));
}

static bool is_loaded(const lay_run_evidence *run, lay_part_type type, const char *name) {
    for (size_t i = 0; i < run->expected_count; i++)
        if (run->expected[i].type == type && strcmp(run->expected[i].name, name) == 0) return run->expected[i].loaded;
    return false;
}

static lay_status add_lines(lay_baseline *b, size_t unit, const lay_measured *job, const lay_loud_condition *c,
                            lay_error *err) {
    lay_baseline_condition *to = lay_baseline_condition_at(b, c->gear, c->load, err);
    const lay_run_evidence *run = &job->runs[c->first_run];
    if (!to) return LAY_NO_MEMORY;
    for (size_t k = 0; k < c->line_count; k++) {
        const lay_loud_line *l = &c->lines[k];
        if (!wanted(l)) continue;
        lay_baseline_line like = {.part = (char *)(uintptr_t)l->part,
                                  .type = l->type,
                                  .harmonic = l->harmonic,
                                  .sideband = l->sideband,
                                  .wheel = l->wheel,
                                  .loaded = is_loaded(run, l->type, l->part)};
        lay_baseline_line *line = lay_baseline_line_at(b, to, &like, err);
        if (!line) return LAY_NO_MEMORY;
        fill(c, l, line->levels + unit * LAY_BASELINE_BANDS);
        line->own[unit] = l->own || l->outside; /* good units say how far what is outside sways */
    }
    return LAY_OK;
}

static lay_status add_bearings(lay_baseline *b, size_t unit, const lay_measured *job, const lay_loud_condition *c,
                               lay_error *err) {
    lay_baseline_condition *to = lay_baseline_condition_at(b, c->gear, c->load, err);
    const lay_run_evidence *run = &job->runs[c->first_run];
    if (!to) return LAY_NO_MEMORY;
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        lay_ring_band band;
        if (e->type != LAY_PART_BEARING || e->tolerance > VAGUE || !lay_run_ring_band(run, e, &band)) continue;
        lay_baseline_line like = {.part = (char *)(uintptr_t)e->name,
                                  .type = LAY_PART_BEARING,
                                  .harmonic = 1,
                                  .wheel = -1,
                                  .loaded = e->loaded};
        lay_baseline_line *line = lay_baseline_line_at(b, to, &like, err);
        if (!line) return LAY_NO_MEMORY;
        line->levels[unit * LAY_BASELINE_BANDS] = (lay_baseline_level){band.clear_db, NO_NOISE_DB, 1};
        line->own[unit] = true;
    }
    return LAY_OK;
}

lay_status lay_baseline_add(lay_baseline *b, const lay_measured *job, const char *name, lay_error *err) {
    lay_status status = lay_baseline_fits(b, job, err);
    for (size_t i = 0; i < b->unit_count && status == LAY_OK; i++)
        if (strcmp(b->units[i], name) == 0)
            status = lay_fail(err, LAY_BAD_INPUT, "the baseline holds a unit '%.80s' already", name);
    if (status == LAY_OK) status = take_over(b, job, err);
    if (status == LAY_OK) status = lay_baseline_grow(b, name, err);
    for (size_t i = 0; i < job->loudness.count && status == LAY_OK; i++) {
        const lay_loud_condition *c = &job->loudness.conditions[i];
        if (c->sensor != b->sensor || c->quantity != b->quantity) continue;
        status = add_lines(b, b->unit_count - 1, job, c, err);
        if (status == LAY_OK) status = add_bearings(b, b->unit_count - 1, job, c, err);
    }
    return status;
}
