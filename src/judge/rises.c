#include "rises.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

#define HEARD 0.3       /* see lay_baseline_line.clear */
#define HEARD_ALONE 0.5 /* in one unit */
#define ROUNDS 12       /* of the fit of units and bands by turns */

typedef struct finding {
    const lay_baseline *b;
    const bool *used;
    size_t tested;
    lay_rises *out;
    double *level; /* [unit_count * bands] of one set of lines */
    double *mean;  /* [bands] NaN: too few units */
} finding;

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the limits");
}

/* ---- one set of lines in one condition ---- */

static bool in_set(const lay_baseline_line *l, int harmonic) {
    if (harmonic == 0) return true;
    if (harmonic < 0) return l->sideband != 0 && l->wheel == -harmonic - 1;
    return l->sideband == 0 && l->harmonic == harmonic;
}

/* Lines that belong to the part in half of the good units at least, or in the one that is tested. */
static bool usable(const finding *f, const lay_baseline_line *l) {
    size_t own = 0, seen = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        bool measured = false;
        for (int k = 0; k < LAY_BASELINE_BANDS && !measured; k++)
            measured = !isnan(l->level_db[u * LAY_BASELINE_BANDS + (size_t)k]);
        if (!f->used[u] || !measured) continue;
        seen++;
        own += l->own[u];
    }
    return seen > 0 && (2 * own >= seen || (f->tested != LAY_NO_UNIT && l->own[f->tested]));
}

/* A line that stands out of the noise in the good units or in the one that is tested; the rest only drown it. */
static bool is_heard(const finding *f, const lay_baseline_line *l) {
    double sum = 0, n = 0;
    for (size_t u = 0; u < f->b->unit_count; u++)
        if (f->used[u]) sum += l->clear[u], n += 1;
    if (n > 0 && sum / n >= HEARD) return true;
    return f->tested != LAY_NO_UNIT && l->clear[f->tested] >= HEARD_ALONE;
}

static bool counts(const finding *f, const lay_baseline_line *l, const char *part, int harmonic, bool heard) {
    if (strcasecmp(l->part, part) != 0 || !in_set(l, harmonic) || !usable(f, l)) return false;
    return !heard || is_heard(f, l);
}

/* Any line of the set is heard: then the others do not count. */
static bool any_heard(const finding *f, const lay_baseline_condition *c, const char *part, int harmonic) {
    for (size_t k = 0; k < c->line_count; k++)
        if (counts(f, &c->lines[k], part, harmonic, true)) return true;
    return false;
}

/* Most good units have the line at this band: it is not above what they hold, and no tone fixed in Hz passes. */
static bool usual_there(const finding *f, const lay_baseline_line *l, size_t band, size_t present) {
    size_t n = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) n += f->used[u] && !isnan(l->level_db[u * LAY_BASELINE_BANDS + band]);
    return 2 * n >= present && n > 0;
}

/* Units that were recorded at this band at all. */
static size_t present_at(const finding *f, const lay_baseline_condition *c, const char *part, size_t band) {
    size_t n = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        bool any = false;
        for (size_t k = 0; k < c->line_count && !any; k++)
            any =
                strcasecmp(c->lines[k].part, part) == 0 && !isnan(c->lines[k].level_db[u * LAY_BASELINE_BANDS + band]);
        n += f->used[u] && any;
    }
    return n;
}

/* Levels of the set in every unit and band; false when no line of it can be used. */
static bool levels_of(finding *f, const lay_baseline_condition *c, const char *part, int harmonic) {
    size_t units = f->b->unit_count, lines = 0;
    bool heard = any_heard(f, c, part, harmonic);
    for (size_t i = 0; i < units * LAY_BASELINE_BANDS; i++) f->level[i] = 0;
    for (size_t k = 0; k < c->line_count; k++) {
        const lay_baseline_line *l = &c->lines[k];
        if (!counts(f, l, part, harmonic, heard)) continue;
        lines++;
        for (size_t b = 0; b < LAY_BASELINE_BANDS; b++) {
            if (!usual_there(f, l, b, present_at(f, c, part, b))) continue;
            for (size_t u = 0; u < units; u++)
                f->level[u * LAY_BASELINE_BANDS + b] += lay_db_to_power(l->level_db[u * LAY_BASELINE_BANDS + b]);
        }
    }
    for (size_t i = 0; i < units * LAY_BASELINE_BANDS; i++)
        f->level[i] = f->level[i] > 0 ? lay_db_power(f->level[i]) : NAN; /* one line missing: the sum is not known */
    return lines > 0;
}

/* The median over the bands: a tone fixed in Hz that passes one of them does not count. */
static double rise_of(const finding *f, size_t unit) {
    double over[LAY_BASELINE_BANDS];
    size_t n = 0;
    for (size_t b = 0; b < LAY_BASELINE_BANDS; b++) {
        double level = f->level[unit * LAY_BASELINE_BANDS + b];
        if (!isnan(f->mean[b]) && !isnan(level)) over[n++] = level - f->mean[b];
    }
    return n > 0 ? lay_median(over, n) : NAN;
}

/* How plainly the strongest line of a set stands there in the good units. */
static double clear_of(const finding *f, const lay_baseline_condition *c, const char *part, int harmonic) {
    double most = 0;
    for (size_t k = 0; k < c->line_count; k++) {
        const lay_baseline_line *l = &c->lines[k];
        double sum = 0, n = 0;
        if (strcasecmp(l->part, part) != 0 || !in_set(l, harmonic) || !usable(f, l)) continue;
        for (size_t u = 0; u < f->b->unit_count; u++)
            if (f->used[u]) sum += l->clear[u], n += 1;
        if (n > 0) most = fmax(most, sum / n);
    }
    return most;
}

/* Share of the bands of the limits at which the unit was recorded at all. */
static double covered_by(const finding *f, const lay_baseline_condition *c, const char *part, size_t unit) {
    double n = 0, all = 0;
    for (size_t b = 0; b < LAY_BASELINE_BANDS; b++) {
        bool any = false;
        if (isnan(f->mean[b])) continue;
        for (size_t k = 0; k < c->line_count && !any; k++)
            any =
                strcasecmp(c->lines[k].part, part) == 0 && !isnan(c->lines[k].level_db[unit * LAY_BASELINE_BANDS + b]);
        all += 1;
        n += any;
    }
    return all > 0 ? n / all : 0;
}

/* Good units that were measured at all. */
static size_t measured_units(const finding *f) {
    size_t n = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        bool any = false;
        for (size_t b = 0; b < LAY_BASELINE_BANDS && !any; b++) any = !isnan(f->level[u * LAY_BASELINE_BANDS + b]);
        n += f->used[u] && any;
    }
    return n;
}

/* Mean of a band over the good units, their rises taken off; NaN where fewer than half of them were recorded, so that
 * no unit is asked for a speed that was held by chance. */
static double band_mean(const finding *f, const lay_rise *r, size_t band, size_t measured) {
    double sum = 0;
    size_t seen = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        double level = f->level[u * LAY_BASELINE_BANDS + band];
        if (!f->used[u] || isnan(level) || isnan(r->db[u])) continue;
        sum += level - r->db[u];
        seen++;
    }
    return seen >= 2 && 2 * seen >= measured ? sum / (double)seen : NAN;
}

/* Bands and units by turns: level = mean of the band + rise of the unit. */
static void fit(finding *f, lay_rise *r) {
    size_t units = f->b->unit_count, measured = measured_units(f);
    for (size_t u = 0; u < units; u++) r->db[u] = 0;
    for (int round = 0; round < ROUNDS; round++) {
        double shift = 0, n = 0;
        for (size_t b = 0; b < LAY_BASELINE_BANDS; b++) f->mean[b] = band_mean(f, r, b, measured);
        for (size_t u = 0; u < units; u++) {
            r->db[u] = rise_of(f, u);
            if (f->used[u] && !isnan(r->db[u])) shift += r->db[u], n += 1;
        }
        for (size_t u = 0; u < units && n > 0; u++) r->db[u] -= shift / n;
    }
}

static lay_status add(finding *f, const char *part, lay_part_type type, int harmonic, int condition, bool loaded,
                      lay_rise **out, lay_error *err) {
    void *items = f->out->items;
    lay_status status = lay_grow(&items, &f->out->capacity, f->out->count, sizeof *f->out->items, err);
    f->out->items = items;
    if (status != LAY_OK) return status;
    lay_rise *r = &f->out->items[f->out->count];
    *r = (lay_rise){.part = part, .type = type, .harmonic = harmonic, .condition = condition, .loaded = loaded};
    r->db = lay_calloc(f->b->unit_count + 1, sizeof(double));
    r->covered = lay_calloc(f->b->unit_count + 1, sizeof(double));
    f->out->count++;
    *out = r;
    return r->db && r->covered ? LAY_OK : no_memory(err);
}

#define LEAST_SPREAD_DB 0.6 /* nobody mounts a unit twice alike (common practice, no source) */

static void count_units(const finding *f, lay_rise *r) {
    double sum = 0, squares = 0, n = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        if (!f->used[u] || isnan(r->db[u])) continue;
        sum += r->db[u];
        squares += r->db[u] * r->db[u];
        n += 1;
    }
    r->units = (int)n;
    r->variance = n > 1 ? fmax(LEAST_SPREAD_DB * LEAST_SPREAD_DB, (squares - sum * sum / n) / (n - 1)) : NAN;
}

static lay_status find_condition(finding *f, size_t condition, lay_error *err) {
    const lay_baseline_condition *c = &f->b->conditions[condition];
    for (size_t k = 0; k < c->line_count; k++) {
        const lay_baseline_line *l = &c->lines[k];
        bool first = true;
        for (size_t i = 0; i < k && first; i++) first = strcasecmp(c->lines[i].part, l->part) != 0;
        for (int h = -2; h <= LAY_RISE_HARMONICS && first; h++) {
            lay_rise *r;
            if ((l->type == LAY_PART_BEARING && h != 0) || !levels_of(f, c, l->part, h)) continue;
            lay_status status = add(f, l->part, l->type, h, (int)condition, l->loaded, &r, err);
            if (status != LAY_OK) return status;
            fit(f, r);
            for (size_t u = 0; u < f->b->unit_count; u++) r->covered[u] = covered_by(f, c, l->part, u);
            r->clear = clear_of(f, c, l->part, h);
            count_units(f, r);
        }
    }
    return LAY_OK;
}

/* ---- the mean over conditions ---- */

static bool same_set(const lay_rise *a, const lay_rise *b) {
    return a->harmonic == b->harmonic && a->type == b->type && strcasecmp(a->part, b->part) == 0;
}

/* Conditions count by how plainly the part is heard there and how little it scatters; where it carries torque nowhere,
 * and is heard nowhere, all count. */
static double weight_of(const lay_rise *one, const lay_rise *like) {
    double clear = fmax(0.02, one->clear);
    if (one->units < LAY_BASELINE_LEAST || (like->loaded && !one->loaded)) return 0;
    return clear * clear / (one->variance + 0.5);
}

static void mean_over(const finding *f, size_t single, const lay_rise *like, lay_rise *r) {
    double clear = 0, weights = 0;
    for (size_t i = 0; i < single; i++) {
        const lay_rise *one = &f->out->items[i];
        double w = same_set(one, like) ? weight_of(one, like) : 0;
        clear += w * one->clear;
        weights += w;
    }
    r->clear = weights > 0 ? clear / weights : 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        double sum = 0, n = 0, least = 1;
        for (size_t i = 0; i < single; i++) {
            const lay_rise *one = &f->out->items[i];
            double w = same_set(one, like) ? weight_of(one, like) : 0;
            if (w == 0) continue;
            least = fmin(least, one->covered[u]);
            if (isnan(one->db[u])) continue;
            sum += w * one->db[u];
            n += w;
        }
        r->db[u] = n > 0 ? sum / n : NAN;
        r->covered[u] = least;
    }
}

/* A condition under torque that was recorded at speeds which most units share. */
static bool counts_loaded(const lay_rise *r) {
    return r->loaded && r->units >= LAY_BASELINE_LEAST;
}

static lay_status find_means(finding *f, lay_error *err) {
    size_t single = f->out->count;
    for (size_t i = 0; i < single; i++) {
        lay_rise like = f->out->items[i], *r;
        like.loaded = counts_loaded(&like);
        bool first = true;
        for (size_t k = 0; k < i && first; k++) first = !same_set(&f->out->items[k], &like);
        if (!first) continue;
        for (size_t k = i; k < single; k++)
            like.loaded |= same_set(&f->out->items[k], &like) && counts_loaded(&f->out->items[k]);
        lay_status status = add(f, like.part, like.type, like.harmonic, -1, like.loaded, &r, err);
        if (status != LAY_OK) return status;
        mean_over(f, single, &like, r);
        count_units(f, r);
    }
    return LAY_OK;
}

lay_status lay_rises_find(const lay_baseline *b, const bool *used, size_t tested, lay_rises *out, lay_error *err) {
    *out = (lay_rises){0};
    finding f = {.b = b, .used = used, .tested = tested, .out = out};
    f.level = lay_calloc(b->unit_count * LAY_BASELINE_BANDS + 1, sizeof(double));
    f.mean = lay_calloc(LAY_BASELINE_BANDS, sizeof(double));
    lay_status status = f.level && f.mean ? LAY_OK : no_memory(err);
    for (size_t c = 0; c < b->condition_count && status == LAY_OK; c++) status = find_condition(&f, c, err);
    if (status == LAY_OK) status = find_means(&f, err);
    free(f.level);
    free(f.mean);
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
