/* What was not as it was the first time: none of it is a change of a part. */
#include "compare.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define GROUND_DB 2.0 /* change of the noise between the lines that is worth telling */
#define COVER 0.7     /* of the speeds of the wider job, below which the ranges differ */
#define LISTED 3

static const char *gear_load(const lay_shared *s, char *out, size_t size) {
    const char *load = lay_load_words(s->load);
    snprintf(out, size, "gear %.40s%s%s", s->gear, *load ? ", " : "", load);
    return out;
}

static lay_status tell_ground(lay_comparing *c, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t j = 0; j < c->out->shared_count && status == LAY_OK; j++) {
        const lay_shared *s = &c->out->shared[j];
        char where[80];
        if (fabs(s->ground_db) >= GROUND_DB)
            status = lay_strings_add(&c->out->differs, err, "%s: the noise between the lines is %.1f dB %s than before",
                                     gear_load(s, where, sizeof where), fabs(s->ground_db),
                                     s->ground_db > 0 ? "louder" : "quieter");
    }
    return status;
}

static lay_status tell_ranges(lay_comparing *c, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t j = 0; j < c->out->shared_count && status == LAY_OK; j++) {
        const lay_shared *s = &c->out->shared[j];
        const lay_overlap *o = &c->overlaps[j];
        size_t wider = o->before->bands > o->after->bands ? o->before->bands : o->after->bands;
        char where[80];
        if ((double)o->count < COVER * (double)wider && wider > 4)
            status = lay_strings_add(&c->out->differs, err, "%s: only %.0f to %.0f rpm was recorded both times",
                                     gear_load(s, where, sizeof where), 60 * s->low_hz, 60 * s->high_hz);
    }
    return status;
}

/* ---- how it was recorded ---- */

static const lay_run_spec *spec_of(const lay_measured *job, const lay_loud_condition *condition) {
    return &job->table->runs[condition->first_run];
}

static lay_status tell_sensor(lay_comparing *c, lay_error *err) {
    const lay_overlap *o = &c->overlaps[0];
    const lay_run_spec *b = spec_of(c->before, o->before), *a = spec_of(c->after, o->after);
    const lay_run_evidence *rb = &c->before->runs[o->before->first_run], *ra = &c->after->runs[o->after->first_run];
    lay_status status = LAY_OK;
    if (b->full_scale != a->full_scale || b->quantity != a->quantity)
        status = lay_strings_add(&c->out->differs, err, "the calibration: full scale is %g before and %g after",
                                 b->full_scale, a->full_scale);
    if (status == LAY_OK && b->channel_count != a->channel_count)
        status = lay_strings_add(&c->out->differs, err,
                                 "the channels: %zu were named before, %zu after; levels are the sum of all",
                                 b->channel_count, a->channel_count);
    if (status == LAY_OK && (rb->speed_source == LAY_SPEED_TACH) != (ra->speed_source == LAY_SPEED_TACH))
        status = lay_strings_add(&c->out->differs, err, "the speed: from a tach %s only",
                                 rb->speed_source == LAY_SPEED_TACH ? "before" : "after");
    return status;
}

/* Value of a note, "name=value; ..."; NULL when it is not there. */
static const char *note_value(const char *notes, const char *name, size_t length, size_t *value_length) {
    for (const char *at = notes; at && *at;) {
        while (*at == ' ' || *at == ';') at++;
        size_t all = strcspn(at, ";"), key = strcspn(at, "=;");
        if (key == length && strncasecmp(at, name, length) == 0 && at[key] == '=') {
            *value_length = all - key - 1;
            return at + key + 1;
        }
        at += all;
    }
    return NULL;
}

static bool told_already(const lay_strings *list, const char *text) {
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->items[i], text) == 0) return true;
    return false;
}

static lay_status tell_note(lay_comparing *c, const char *name, int length, const char *was, int was_length,
                            const char *is, int is_length, lay_error *err) {
    char text[256];
    snprintf(text, sizeof text, "%.*s: %.*s before, %.*s after", length < 40 ? length : 40, name,
             was_length < 60 ? was_length : 60, was, is_length < 60 ? is_length : 60, is);
    return told_already(&c->out->differs, text) ? LAY_OK : lay_strings_add(&c->out->differs, err, "%s", text);
}

/* Columns of the table that the program does not know, such as the temperature of the oil. */
static lay_status tell_notes(lay_comparing *c, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t j = 0; j < c->out->shared_count && status == LAY_OK; j++) {
        const char *before = spec_of(c->before, c->overlaps[j].before)->notes;
        const char *after = spec_of(c->after, c->overlaps[j].after)->notes;
        for (const char *at = before; at && *at && status == LAY_OK;) {
            while (*at == ' ' || *at == ';') at++;
            size_t all = strcspn(at, ";"), key = strcspn(at, "=;"), length = 0;
            const char *is = key < all ? note_value(after, at, key, &length) : NULL;
            const char *was = at + key + 1;
            size_t was_length = all > key ? all - key - 1 : 0;
            if (is && (length != was_length || strncasecmp(is, was, length) != 0))
                status = tell_note(c, at, (int)key, was, (int)was_length, is, (int)length, err);
            at += all;
        }
    }
    return status;
}

/* ---- what was built in ---- */

static lay_status tell_teeth(lay_comparing *c, lay_error *err) {
    const lay_unit *b = c->before->unit, *a = c->after->unit;
    lay_status status = LAY_OK;
    for (size_t i = 0; i < a->mesh_count; i++)
        for (size_t k = 0; k < b->mesh_count && status == LAY_OK; k++) {
            const lay_mesh *x = &b->meshes[k], *y = &a->meshes[i];
            if (strcasecmp(x->name, y->name) != 0) continue;
            if (x->driver.teeth != y->driver.teeth || x->driven.teeth != y->driven.teeth)
                status =
                    lay_strings_add(&c->out->differs, err,
                                    "%s: %d:%d teeth before, %d:%d after; it is matched by its name, not by its order",
                                    y->name, x->driver.teeth, x->driven.teeth, y->driver.teeth, y->driven.teeth);
        }
    return status;
}

lay_status lay_compare_told(lay_comparing *c, lay_error *err) {
    lay_status status = tell_teeth(c, err);
    if (status == LAY_OK) status = tell_sensor(c, err);
    if (status == LAY_OK) status = tell_ground(c, err);
    if (status == LAY_OK) status = tell_ranges(c, err);
    return status == LAY_OK ? tell_notes(c, err) : status;
}
