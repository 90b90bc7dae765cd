/* A unit against good ones, or against limits by hand: pass, fail, or not tested. */
#include "change.h"
#include "limits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define COVER 0.6

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to verify");
}

void lay_verification_free(lay_verification *v) {
    if (!v) return;
    for (size_t p = 0; p < v->part_count; p++) free(v->parts[p].where);
    free(v->parts);
    free(v->summary);
    lay_strings_free(&v->missing);
    lay_strings_free(&v->odd);
    *v = (lay_verification){0};
}

/* ---- the job as one unit more ---- */

static lay_status copy_lines(const lay_baseline_condition *from, lay_baseline *to, size_t units, lay_error *err) {
    lay_baseline_condition *c = lay_baseline_condition_at(to, from->gear, from->load, err);
    if (!c) return LAY_NO_MEMORY;
    for (size_t k = 0; k < from->line_count; k++) {
        lay_baseline_line *line = lay_baseline_line_at(to, c, &from->lines[k], err);
        if (!line) return LAY_NO_MEMORY;
        memcpy(line->levels, from->lines[k].levels, units * LAY_BASELINE_BANDS * sizeof *line->levels);
        memcpy(line->own, from->lines[k].own, units * sizeof(bool));
    }
    return LAY_OK;
}

/* A copy of the baseline with the job behind its units. */
static lay_status with_job(const lay_baseline *b, const lay_measured *job, lay_baseline **out, lay_error *err) {
    lay_baseline *copy = lay_baseline_new();
    lay_status status = copy ? LAY_OK : no_memory(err);
    for (size_t u = 0; u < b->unit_count && status == LAY_OK; u++) status = lay_baseline_grow(copy, b->units[u], err);
    for (size_t c = 0; c < b->condition_count && status == LAY_OK; c++)
        status = copy_lines(&b->conditions[c], copy, b->unit_count, err);
    if (status == LAY_OK) status = lay_baseline_fits(b, job, err);
    if (status == LAY_OK) status = lay_baseline_add(copy, job, "\n", err); /* no job has that name */
    *out = copy;
    return status;
}

/* ---- parts ---- */

static void condition_words(const lay_baseline *b, int condition, lay_text *out) {
    const lay_baseline_condition *c = &b->conditions[condition];
    lay_text_add(out, "gear %s, %s", c->gear, lay_load_words(c->load));
}

static void limit_words(const lay_baseline *b, const lay_limit *l, lay_text *out) {
    if (l->type == LAY_PART_BEARING)
        lay_text_add(out, "its blows");
    else if (l->harmonic == 0)
        lay_text_add(out, "all its lines");
    else if (l->harmonic > 0)
        lay_text_add(out, "multiple %d of its order", l->harmonic);
    else
        lay_text_add(out, "sidebands of its %s wheel", l->harmonic == -1 ? "driver" : "driven");
    lay_text_add(out, ", ");
    if (l->condition >= 0)
        condition_words(b, l->condition, out);
    else
        lay_text_add(out, "mean over all gears and loads");
}

typedef struct verifying {
    const lay_baseline *both; /* the job is the last unit */
    size_t unit;
    lay_rises rises;
    lay_limit *limits;
    lay_verification *out;
} verifying;

/* A condition of the baseline that the part needs and the job does not cover; -1: none. */
static int uncovered(const verifying *v, const char *part, lay_part_type type) {
    bool ever = false;
    for (size_t i = 0; i < v->rises.count; i++) {
        const lay_rise *r = &v->rises.items[i];
        ever |= r->loaded && r->type == type && strcasecmp(r->part, part) == 0;
    }
    for (size_t i = 0; i < v->rises.count; i++) {
        const lay_rise *r = &v->rises.items[i];
        bool needed = r->condition >= 0 && r->harmonic == 0 && r->type == type && strcasecmp(r->part, part) == 0 &&
                      r->units >= LAY_BASELINE_LEAST && (r->loaded || !ever);
        if (needed && r->covered[v->unit] < COVER) return r->condition;
    }
    return -1;
}

static lay_status verify_part(verifying *v, const lay_rise *whole, lay_error *err) {
    lay_verified_part *p = &v->out->parts[v->out->part_count];
    *p = (lay_verified_part){
        .part = whole->part, .type = whole->type, .margin_db = NAN, .rise_db = NAN, .limit_db = NAN};
    lay_text where = {0};
    int missing = uncovered(v, whole->part, whole->type);
    size_t worst = lay_limits_worst(v->both, &v->rises, v->limits, v->unit, whole->part, &p->margin_db);
    if (worst == v->rises.count) p->margin_db = NAN;
    if (worst < v->rises.count) {
        p->rise_db = v->rises.items[worst].db[v->unit];
        p->limit_db = v->limits[worst].limit_db;
    }
    p->tested = missing < 0 && worst < v->rises.count;
    p->pass = p->tested && p->margin_db >= 0;
    if (p->tested || (worst < v->rises.count && p->margin_db < 0)) {
        p->tested = true; /* what surpasses a limit fails, whatever else is missing */
        limit_words(v->both, &v->limits[worst], &where);
    } else {
        p->margin_db = NAN;
        lay_text_add(&where, "not recorded: ");
        if (missing >= 0)
            condition_words(v->both, missing, &where);
        else
            lay_text_add(&where, "nothing that the baseline has");
    }
    if (where.failed || !where.text) return no_memory(err);
    p->where = where.text;
    v->out->part_count++;
    return LAY_OK;
}

static lay_status verify_parts(verifying *v, lay_error *err) {
    lay_status status = LAY_OK;
    v->out->parts = lay_calloc(v->rises.count + 1, sizeof *v->out->parts);
    if (!v->out->parts) return no_memory(err);
    for (size_t i = 0; i < v->rises.count && status == LAY_OK; i++) {
        const lay_rise *r = &v->rises.items[i];
        if (r->condition < 0 && r->harmonic == 0 && r->units >= LAY_BASELINE_LEAST) status = verify_part(v, r, err);
    }
    return status;
}

static lay_status tell_missing(verifying *v, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t c = 0; c < v->both->condition_count && status == LAY_OK; c++) {
        double most = 0;
        int units = 0;
        for (size_t i = 0; i < v->rises.count; i++) {
            const lay_rise *r = &v->rises.items[i];
            if (r->condition != (int)c || r->harmonic != 0) continue;
            most = fmax(most, r->covered[v->unit]);
            if (r->units > units) units = r->units;
        }
        lay_text words = {0};
        condition_words(v->both, (int)c, &words);
        if (units >= LAY_BASELINE_LEAST && most < COVER && !words.failed)
            status = lay_strings_add(&v->out->missing, err,
                                     most > 0 ? "%s: recorded over %.0f %% of the speeds only" : "%s: not recorded",
                                     words.text, 100 * most);
        lay_text_free(&words);
    }
    return status;
}

/* ---- the whole ---- */

/* The part names the caller keeps belong to the baseline that outlives this. */
static void hand_over_names(const lay_baseline *b, lay_verification *out) {
    for (size_t p = 0; p < out->part_count; p++)
        for (size_t c = 0; c < b->condition_count; c++)
            for (size_t k = 0; k < b->conditions[c].line_count; k++)
                if (strcasecmp(b->conditions[c].lines[k].part, out->parts[p].part) == 0)
                    out->parts[p].part = b->conditions[c].lines[k].part;
}

static void list(const lay_verification *v, bool failed, lay_text *out) {
    size_t n = 0;
    for (size_t p = 0; p < v->part_count; p++) {
        const lay_verified_part *part = &v->parts[p];
        bool wanted = failed ? part->tested && !part->pass : !part->tested;
        if (!wanted) continue;
        lay_text_add(out, "%s%s", n++ ? ", " : "", part->part);
        if (failed) lay_text_add(out, " %.1f dB above its limit", -part->margin_db);
    }
}

static lay_status sum_up(lay_verification *v, lay_error *err) {
    size_t failed = 0, untested = 0;
    lay_text text = {0};
    for (size_t p = 0; p < v->part_count; p++) {
        failed += v->parts[p].tested && !v->parts[p].pass;
        untested += !v->parts[p].tested;
    }
    v->tested = untested == 0 && v->part_count > 0;
    v->pass = failed == 0 && v->tested;
    if (failed > 0) {
        lay_text_add(&text, "Fail: ");
        list(v, true, &text);
        lay_text_add(&text, ".");
    }
    if (untested > 0) {
        lay_text_add(&text, "%sNot tested: ", failed ? " " : "");
        list(v, false, &text);
        lay_text_add(&text, ".");
    }
    if (v->part_count == 0) lay_text_add(&text, "Not tested: no part has a limit.");
    if (v->pass) lay_text_add(&text, "Pass: no part surpasses its limit.");
    if (text.failed) lay_text_free(&text);
    v->summary = text.text;
    return v->summary ? LAY_OK : no_memory(err);
}

lay_status lay_verify(const lay_baseline *b, const lay_measured *job, lay_verification *out, lay_error *err) {
    *out = (lay_verification){0};
    lay_limits limits = {0};
    lay_baseline *both = NULL;
    lay_status status = lay_limits_find(b, &limits, err);
    if (status == LAY_OK) status = with_job(b, job, &both, err);
    bool *used = status == LAY_OK ? lay_calloc(both->unit_count, sizeof *used) : NULL;
    if (status == LAY_OK && !used) status = no_memory(err);
    for (size_t u = 0; u < b->unit_count && status == LAY_OK; u++) {
        used[u] = limits.used[u];
        if (limits.odd[u]) status = lay_strings_add(&out->odd, err, "%s: %s", b->units[u], limits.odd[u]);
    }
    verifying v = {.both = both, .unit = b->unit_count, .out = out};
    if (status == LAY_OK) status = lay_rises_find(both, used, b->unit_count, &v.rises, err);
    if (status == LAY_OK) status = lay_limits_of(&v.rises, &v.limits, err);
    if (status == LAY_OK) status = verify_parts(&v, err);
    if (status == LAY_OK) status = tell_missing(&v, err);
    out->units = limits.used_count;
    out->median_db = limits.median_db;
    if (status == LAY_OK) status = sum_up(out, err);
    if (status == LAY_OK) hand_over_names(b, out);
    lay_rises_free(&v.rises);
    free(v.limits);
    free(used);
    lay_baseline_free(both);
    lay_limits_free(&limits);
    if (status != LAY_OK) lay_verification_free(out);
    return status;
}

/* ---- limits by hand ---- */

static double mean_level(const lay_loud_condition *c, const char *part) {
    double sum = 0, looks = 0;
    for (size_t b = 0; b < c->bands; b++) {
        double power = 0;
        for (size_t k = 0; k < c->line_count; k++)
            if (strcasecmp(c->lines[k].part, part) == 0 && c->lines[k].own && isfinite(c->lines[k].variance[b]))
                power += fmax(c->lines[k].power[b], 0);
        sum += c->looks[b] * power;
        looks += c->looks[b];
    }
    return sum > 0 ? lay_db_power(sum / looks) + lay_quantity_offset_db(c->quantity) : NAN;
}

static bool known_part(const lay_unit *unit, const char *part) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (strcasecmp(unit->meshes[m].name, part) == 0) return true;
    return unit->axle.present && strcasecmp(part, "axle") == 0;
}

static lay_status verify_row(const lay_limit_table *t, const lay_limit_row *row, const lay_measured *job,
                             lay_verification *out, lay_error *err) {
    if (!known_part(job->unit, row->part))
        return lay_fail_at(err, LAY_BAD_INPUT, t->path, row->line, 1, 1, NULL,
                           "the unit has no mesh '%.60s': limits by hand are for meshes and the axle", row->part);
    lay_verified_part *p = &out->parts[out->part_count];
    *p = (lay_verified_part){.part = row->part, .margin_db = NAN, .rise_db = NAN, .limit_db = row->limit_db};
    lay_text where = {0};
    for (size_t i = 0; i < job->loudness.count; i++) {
        const lay_loud_condition *c = &job->loudness.conditions[i];
        if ((row->gear[0] && strcasecmp(row->gear, c->gear) != 0) ||
            (row->load != LAY_LOAD_UNKNOWN && row->load != c->load))
            continue;
        p->tested = true;
        double level = mean_level(c, row->part);
        if (isnan(level) || level <= p->rise_db) continue;
        p->rise_db = level;
        lay_text_free(&where);
        lay_text_add(&where, "gear %s, %s", c->gear, lay_load_words(c->load));
    }
    if (p->tested) p->margin_db = isnan(p->rise_db) ? INFINITY : p->limit_db - p->rise_db;
    p->pass = p->tested && p->margin_db >= 0;
    if (!where.text)
        lay_text_add(&where, p->tested ? "in the noise" : "not recorded: gear %s, %s", row->gear[0] ? row->gear : "any",
                     row->load == LAY_LOAD_UNKNOWN ? "any load" : lay_load_name(row->load));
    if (where.failed || !where.text) return no_memory(err);
    p->where = where.text;
    out->part_count++;
    return LAY_OK;
}

lay_status lay_verify_by_hand(const lay_limit_table *t, const lay_measured *job, lay_verification *out,
                              lay_error *err) {
    *out = (lay_verification){.by_hand = true, .median_db = NAN};
    lay_status status = LAY_OK;
    if (job->loudness.count == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, job->table->path, "no recording of this job can be measured: %s",
                             job->left_out.count ? job->left_out.items[0] : "runs.csv names none");
    out->parts = lay_calloc(t->count + 1, sizeof *out->parts);
    if (!out->parts) return no_memory(err);
    for (size_t i = 0; i < t->count && status == LAY_OK; i++) status = verify_row(t, &t->rows[i], job, out, err);
    if (status == LAY_OK) status = sum_up(out, err);
    if (status != LAY_OK) lay_verification_free(out);
    return status;
}
