/* What two jobs have in common, or why they cannot be held against each other. */
#include "compare.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

/* ---- the same unit ---- */

static const lay_mesh *mesh_named(const lay_unit *unit, const char *name) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (strcasecmp(unit->meshes[m].name, name) == 0) return &unit->meshes[m];
    return NULL;
}

/* A gear swap changes teeth, never the names: half of the meshes at least must be there again. */
static lay_status same_unit(const lay_unit *before, const lay_unit *after, lay_error *err) {
    size_t common = 0;
    for (size_t m = 0; m < after->mesh_count; m++)
        if (mesh_named(before, after->meshes[m].name)) common++;
    bool alike = 2 * common >= after->mesh_count && 2 * common >= before->mesh_count;
    if (alike && strcasecmp(before->name, after->name) == 0) return LAY_OK;
    if (alike)
        return lay_fail(err, LAY_BAD_INPUT,
                        "'%.60s' and '%.60s' are different units; if it is one, give it the same name in both unit.ini",
                        before->name, after->name);
    return lay_fail(err, LAY_BAD_INPUT,
                    "'%.60s' and '%.60s' are different units: only %zu of %zu meshes have a name that both know",
                    before->name, after->name, common, after->mesh_count);
}

static lay_status not_empty(const lay_measured *job, const char *which, lay_error *err) {
    if (job->loudness.count > 0) return LAY_OK;
    if (job->table->count == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, job->table->path, "the job %s holds no recording", which);
    return lay_fail_file(err, LAY_BAD_INPUT, job->table->path, "no recording of the job %s can be measured: %s", which,
                         job->left_out.count ? job->left_out.items[0] : "none has a known speed and gear");
}

/* ---- common conditions ---- */

static bool same_place(const lay_loud_condition *a, const lay_loud_condition *b) {
    return strcasecmp(a->gear, b->gear) == 0 && a->load == b->load;
}

static bool same_sensor(const lay_loud_condition *a, const lay_loud_condition *b) {
    return a->sensor == b->sensor || a->sensor == LAY_SENSOR_UNKNOWN || b->sensor == LAY_SENSOR_UNKNOWN;
}

/* Why conditions fell away, for the refusal. */
typedef struct reasons {
    int places, sensors, units;
} reasons;

static lay_status share(lay_comparing *c, size_t b, size_t a, reasons *why, lay_error *err) {
    const lay_loud_condition *before = &c->before->loudness.conditions[b], *after = &c->after->loudness.conditions[a];
    if (!same_place(before, after)) return LAY_OK;
    why->places++;
    if (!same_sensor(before, after)) {
        why->sensors++;
        return LAY_OK;
    }
    if (before->quantity != after->quantity && c->out->match == LAY_MATCH_NONE) {
        why->units++;
        return LAY_OK;
    }
    lay_overlap *o = &c->overlaps[c->out->shared_count];
    lay_status status = lay_overlap_find(before, after, c->out->match == LAY_MATCH_FLOOR, o, err);
    if (status != LAY_OK) return status;
    if (o->count == 0) {
        lay_overlap_free(o);
        return lay_strings_add(&c->out->missing, err, "gear %s, %s: the two were not recorded at the same speeds",
                               before->gear, lay_load_words(before->load));
    }
    lay_shared *s = &c->out->shared[c->out->shared_count++];
    *s = (lay_shared){.gear = before->gear, .load = before->load, .before = b, .after = a};
    s->low_hz = exp(LAY_BAND * (before->first_band + (double)o->pairs[0].before));
    s->high_hz = exp(LAY_BAND * (before->first_band + (double)o->pairs[o->count - 1].before + 1));
    lay_overlap_seconds(o, &s->before_s, &s->after_s);
    s->ground_db = lay_overlap_ground(o);
    return LAY_OK;
}

static lay_status refuse(const reasons *why, lay_error *err) {
    if (why->sensors > 0)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the two jobs were recorded with different sensors (accel and mic in runs.csv): levels of an "
                        "accelerometer and a microphone cannot be held against each other");
    if (why->units > 0)
        return lay_fail(
            err, LAY_BAD_INPUT,
            "one job is calibrated and the other is not: add full_scale and unit to its runs.csv, or say what "
            "was the same both times with --match floor or --match engine");
    if (why->places > 0)
        return lay_fail(
            err, LAY_BAD_INPUT,
            "the two jobs hold no gear and load at the same speeds: record AFTER over the speeds of BEFORE");
    return lay_fail(err, LAY_BAD_INPUT,
                    "the two jobs have no gear under the same load in common: record in one gear and load of BEFORE");
}

static lay_status tell_missing(lay_comparing *c, const lay_loudness *one, const lay_loudness *other, const char *which,
                               lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < one->count && status == LAY_OK; i++) {
        bool found = false;
        for (size_t k = 0; k < other->count; k++) found |= same_place(&one->conditions[i], &other->conditions[k]);
        if (!found)
            status = lay_strings_add(&c->out->missing, err, "gear %s, %s: only in the job %s", one->conditions[i].gear,
                                     lay_load_name(one->conditions[i].load), which);
    }
    return status;
}

static lay_status tell_left_out(lay_comparing *c, const lay_measured *job, const char *which, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < job->left_out.count && status == LAY_OK; i++)
        status = lay_strings_add(&c->out->missing, err, "%s, %s", which, job->left_out.items[i]);
    return status;
}

lay_status lay_compare_shared(lay_comparing *c, lay_error *err) {
    const lay_loudness *before = &c->before->loudness, *after = &c->after->loudness;
    reasons why = {0};
    lay_status status = same_unit(c->before->unit, c->after->unit, err);
    if (status == LAY_OK) status = not_empty(c->before, "before", err);
    if (status == LAY_OK) status = not_empty(c->after, "after", err);
    if (status != LAY_OK) return status;
    c->out->shared = lay_calloc(before->count * after->count + 1, sizeof *c->out->shared);
    c->overlaps = lay_calloc(before->count * after->count + 1, sizeof *c->overlaps);
    if (!c->out->shared || !c->overlaps) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t b = 0; b < before->count && status == LAY_OK; b++)
        for (size_t a = 0; a < after->count && status == LAY_OK; a++) status = share(c, b, a, &why, err);
    if (status != LAY_OK) return status;
    if (c->out->shared_count == 0) return refuse(&why, err);
    status = tell_missing(c, before, after, "before", err);
    if (status == LAY_OK) status = tell_missing(c, after, before, "after", err);
    if (status == LAY_OK) status = tell_left_out(c, c->before, "before", err);
    return status == LAY_OK ? tell_left_out(c, c->after, "after", err) : status;
}
