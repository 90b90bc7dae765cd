#include "rises.h"

#include "gains.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

#define UNIT_SCATTER 0.2 /* of the gain of a line from unit to unit (derived here) */
#define EXPECTED_UNITS 20.0
#define DROWNED 0.5         /* mean gain of good units from which a line is heard */
#define LEAST_HEARD 0.05    /* share at which lines count that good units do not have */
#define LEAST_SPREAD_DB 0.6 /* nobody mounts a unit twice alike (common practice, no source) */

typedef struct finding {
    const lay_baseline *b;
    const bool *used;
    size_t tested;
    lay_rises *out;
    lay_gain **gains;           /* [condition_count][line_count] */
    double *sum, *weight, *due; /* [unit_count] */
} finding;

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the limits");
}

/* ---- lines ---- */

static bool in_set(const lay_baseline_line *l, int harmonic) {
    if (harmonic == 0) return true;
    if (harmonic < 0) return l->sideband != 0 && l->wheel == -harmonic - 1;
    return l->sideband == 0 && l->harmonic == harmonic;
}

static bool is_measured(const lay_baseline_line *l, size_t unit) {
    for (size_t k = 0; k < LAY_BASELINE_BANDS; k++)
        if (!isnan(l->levels[unit * LAY_BASELINE_BANDS + k].level_db)) return true;
    return false;
}

/* Lines that belong to the part in half of the good units at least, or in the one that is tested. */
static bool usable(const finding *f, const lay_baseline_line *l) {
    size_t own = 0, seen = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        if (!f->used[u] || !is_measured(l, u)) continue;
        seen++;
        own += l->own[u];
    }
    if (f->tested != LAY_NO_UNIT) return seen > 0 && l->own[f->tested];
    return seen > 0 && 2 * own >= seen;
}

static bool is_of(const lay_baseline_line *l, const lay_rise *r) {
    return l->type == r->type && strcasecmp(l->part, r->part) == 0 && in_set(l, r->harmonic);
}

/* The part carries torque there at speeds that enough good units share. */
static bool counts_loaded(const finding *f, size_t condition, const lay_baseline_line *l, size_t k) {
    return l->loaded && f->gains[condition][k].units >= LAY_BASELINE_LEAST;
}

/* ---- a set of lines ---- */

/* What is expected of scatter counts as much as so many units. */
static double moderated(const lay_gain *gain, double expected) {
    double n = isnan(gain->scatter) ? 0 : gain->units - 1;
    return (EXPECTED_UNITS * expected + (n > 0 ? n * gain->scatter : 0)) / (EXPECTED_UNITS + n);
}

/* A heard line has the mean 1; how surely a rise would show is what a line counts by. */
static double weight_of(const lay_gain *gain) {
    return fmax(LEAST_HEARD, gain->mean) / moderated(gain, gain->variance + UNIT_SCATTER * UNIT_SCATTER);
}

/* What drowns scatters by noise alone: good units then show it themselves. */
static double noise_variance(const lay_gain *gain) {
    return gain->mean > DROWNED ? gain->variance : fmax(gain->variance, moderated(gain, gain->variance));
}

typedef struct summing {
    double weights, mean, variance;
    size_t lines;
} summing;

static void add_line(finding *f, const lay_baseline_line *l, const lay_gain *gain, const lay_rise *r, summing *s) {
    double w = weight_of(gain) / l->harmonic;
    s->weights += w;
    s->mean += w * gain->mean;
    s->variance += w * w * noise_variance(gain);
    s->lines++;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        r->covered[u] = fmax(r->covered[u], gain->covered[u]);
        if (isnan(gain->of[u])) continue;
        f->sum[u] += w * gain->of[u];
        f->due[u] += w * gain->mean;
        f->weight[u] += w;
    }
}

/* Whoever lacks a line is held against the others' lines. */
static void to_decibels(const finding *f, const summing *s, const lay_rise *r) {
    double mean = s->mean / s->weights, bend = fmax(0.05, sqrt(s->variance) / s->weights / UNIT_SCATTER);
    for (size_t u = 0; u < f->b->unit_count; u++) {
        double gain = f->weight[u] > 0 ? mean + (f->sum[u] - f->due[u]) / f->weight[u] : NAN;
        r->db[u] = 10 / log(10) * asinh(gain / bend);
    }
}

static void hold_against_mean(const finding *f, lay_rise *r) {
    double sum = 0, squares = 0, n = 0;
    for (size_t u = 0; u < f->b->unit_count; u++)
        if (f->used[u] && !isnan(r->db[u])) sum += r->db[u], n += 1;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        r->db[u] -= n > 0 ? sum / n : NAN;
        if (f->used[u] && !isnan(r->db[u])) squares += r->db[u] * r->db[u];
    }
    r->units = (int)n;
    r->variance = n > 1 ? fmax(LEAST_SPREAD_DB * LEAST_SPREAD_DB, squares / (n - 1)) : NAN;
}

/* Lines of the set in one condition, or in all that count. */
static size_t sum_set(finding *f, const lay_rise *r) {
    summing s = {0};
    for (size_t u = 0; u < f->b->unit_count; u++) f->sum[u] = f->weight[u] = f->due[u] = r->covered[u] = 0;
    for (size_t c = 0; c < f->b->condition_count; c++) {
        const lay_baseline_condition *in = &f->b->conditions[c];
        if (r->condition >= 0 && (size_t)r->condition != c) continue;
        for (size_t k = 0; k < in->line_count; k++) {
            const lay_baseline_line *l = &in->lines[k];
            const lay_gain *gain = &f->gains[c][k];
            bool counts = r->condition >= 0 || !r->loaded || counts_loaded(f, c, l, k);
            if (is_of(l, r) && counts && gain->units >= LAY_BASELINE_LEAST && usable(f, l)) add_line(f, l, gain, r, &s);
        }
    }
    if (s.lines > 0) to_decibels(f, &s, r);
    return s.lines;
}

/* A bearing's blows have decibels of their own: the mean over conditions. */
static size_t sum_blows(finding *f, const lay_rise *r) {
    size_t lines = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) f->sum[u] = f->weight[u] = r->covered[u] = 0;
    for (size_t c = 0; c < f->b->condition_count; c++)
        for (size_t k = 0; k < f->b->conditions[c].line_count; k++) {
            const lay_baseline_line *l = &f->b->conditions[c].lines[k];
            if (!is_of(l, r) || (r->condition >= 0 && (size_t)r->condition != c)) continue;
            if (r->condition < 0 && r->loaded && !counts_loaded(f, c, l, k)) continue;
            lines++;
            for (size_t u = 0; u < f->b->unit_count; u++) {
                double level = l->levels[u * LAY_BASELINE_BANDS].level_db;
                if (!isnan(level)) f->sum[u] += level, f->weight[u] += 1, r->covered[u] = 1;
            }
        }
    for (size_t u = 0; u < f->b->unit_count; u++) r->db[u] = f->weight[u] > 0 ? f->sum[u] / f->weight[u] : NAN;
    return lines;
}

/* ---- all sets ---- */

static lay_status add(finding *f, lay_rise like, lay_error *err) {
    void *items = f->out->items;
    lay_status status = lay_grow(&items, &f->out->capacity, f->out->count, sizeof *f->out->items, err);
    f->out->items = items;
    if (status != LAY_OK) return status;
    lay_rise *r = &f->out->items[f->out->count];
    *r = like;
    r->db = lay_calloc(f->b->unit_count + 1, sizeof(double));
    r->covered = lay_calloc(f->b->unit_count + 1, sizeof(double));
    f->out->count++;
    if (!r->db || !r->covered) return no_memory(err);
    if ((r->type == LAY_PART_BEARING ? sum_blows(f, r) : sum_set(f, r)) > 0) {
        hold_against_mean(f, r);
        return LAY_OK;
    }
    free(r->db);
    free(r->covered);
    f->out->count--;
    return LAY_OK;
}

static bool is_first(const finding *f, size_t condition, size_t line) {
    const lay_baseline_line *of = &f->b->conditions[condition].lines[line];
    for (size_t c = 0; c <= condition; c++)
        for (size_t k = 0; k < (c == condition ? line : f->b->conditions[c].line_count); k++) {
            const lay_baseline_line *l = &f->b->conditions[c].lines[k];
            if (l->type == of->type && strcasecmp(l->part, of->part) == 0) return false;
        }
    return true;
}

/* Each part in each condition, then over all, then its sets of lines over all. */
static lay_status find_part(finding *f, const lay_baseline_line *of, lay_error *err) {
    lay_rise like = {.part = of->part, .type = of->type};
    bool ever = false;
    lay_status status = LAY_OK;
    for (size_t c = 0; c < f->b->condition_count && status == LAY_OK; c++) {
        like.condition = (int)c;
        like.loaded = false;
        for (size_t k = 0; k < f->b->conditions[c].line_count; k++) {
            const lay_baseline_line *l = &f->b->conditions[c].lines[k];
            if (!is_of(l, &like)) continue;
            like.loaded |= l->loaded;
            ever |= counts_loaded(f, c, l, k);
        }
        status = add(f, like, err);
    }
    int least = of->type == LAY_PART_BEARING ? 0 : -2, most = of->type == LAY_PART_BEARING ? 0 : LAY_RISE_HARMONICS;
    for (int h = least; h <= most && status == LAY_OK; h++) {
        like.condition = -1;
        like.loaded = ever;
        like.harmonic = h;
        status = add(f, like, err);
    }
    return status;
}

static lay_status find_gains(finding *f, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t c = 0; c < f->b->condition_count && status == LAY_OK; c++) {
        const lay_baseline_condition *in = &f->b->conditions[c];
        f->gains[c] = lay_calloc(in->line_count + 1, sizeof *f->gains[c]);
        if (!f->gains[c]) return no_memory(err);
        for (size_t k = 0; k < in->line_count && status == LAY_OK; k++)
            status = lay_gain_find(f->b, f->used, &in->lines[k], &f->gains[c][k], err);
    }
    return status;
}

static void free_finding(finding *f) {
    for (size_t c = 0; f->gains && c < f->b->condition_count; c++) {
        for (size_t k = 0; f->gains[c] && k < f->b->conditions[c].line_count; k++) lay_gain_free(&f->gains[c][k]);
        free(f->gains[c]);
    }
    free(f->gains);
    free(f->sum);
    free(f->weight);
    free(f->due);
}

lay_status lay_rises_find(const lay_baseline *b, const bool *used, size_t tested, lay_rises *out, lay_error *err) {
    *out = (lay_rises){0};
    finding f = {.b = b, .used = used, .tested = tested, .out = out};
    f.gains = lay_calloc(b->condition_count + 1, sizeof *f.gains);
    f.sum = lay_calloc(b->unit_count + 1, sizeof(double));
    f.weight = lay_calloc(b->unit_count + 1, sizeof(double));
    f.due = lay_calloc(b->unit_count + 1, sizeof(double));
    lay_status status = f.gains && f.sum && f.weight && f.due ? find_gains(&f, err) : no_memory(err);
    for (size_t c = 0; c < b->condition_count && status == LAY_OK; c++)
        for (size_t k = 0; k < b->conditions[c].line_count && status == LAY_OK; k++)
            if (is_first(&f, c, k)) status = find_part(&f, &b->conditions[c].lines[k], err);
    free_finding(&f);
    if (status != LAY_OK) lay_rises_free(out);
    return status;
}

void lay_rises_free(lay_rises *rises) {
    for (size_t i = 0; i < rises->count; i++) {
        free(rises->items[i].db);
        free(rises->items[i].covered);
    }
    free(rises->items);
    *rises = (lay_rises){0};
}
