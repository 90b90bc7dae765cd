#include "limits.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <strings.h>

#define DOF_MOST 30.0
#define BEARING_DB 5.0 /* blows that surpass their surroundings by less are none: as in lay_run_ring_band */
#define ODD_DB 1.0

/* Kinds of limits, and the share of good units that may surpass any of a kind. */
typedef enum kind { WHOLE, IN_CONDITION, LINES, BLOWS, KINDS, NONE = -1 } kind;
static const double share[KINDS] = {0.009, 0.002, 0.002, 0.002};

static kind kind_of(const lay_rise *r) {
    if (r->units < LAY_BASELINE_LEAST) return NONE;
    if (r->type == LAY_PART_BEARING) return r->condition < 0 ? BLOWS : NONE; /* one condition alone is no evidence */
    if (r->condition < 0 && r->harmonic == 0) return WHOLE;
    if (!r->loaded) return NONE; /* free-running pairs rattle, at whatever line and speed they like */
    return r->condition >= 0 ? IN_CONDITION : LINES;
}

/* ---- spreads, moderated ---- */

/* Asymptotic series after moving the argument above 6 (DLMF 5.11.2, 5.15.8). */
static double digamma(double x) {
    double sum = 0;
    for (; x < 6; x += 1) sum -= 1 / x;
    double y = 1 / (x * x);
    return sum + log(x) - 0.5 / x - y * (1.0 / 12 - y * (1.0 / 120 - y / 252));
}

static double trigamma(double x) {
    double sum = 0;
    for (; x < 6; x += 1) sum += 1 / (x * x);
    double y = 1 / (x * x);
    return sum + 1 / x + 0.5 * y + y / x * (1.0 / 6 - y * (1.0 / 30 - y / 42));
}

/* x with trigamma(x) = value; trigamma falls. */
static double trigamma_inverse(double value) {
    double low = 1e-3, high = 1e4;
    for (int i = 0; i < 100; i++) {
        double middle = sqrt(low * high);
        if (trigamma(middle) > value)
            low = middle;
        else
            high = middle;
    }
    return sqrt(low * high);
}

typedef struct prior {
    double dof, variance;
} prior;

/* Moments of the logarithms of the variances: what scatters more than chance, by more than chance itself scatters, are
 * true differences between parts. */
static prior prior_of(const double *variance, const double *dof, size_t n) {
    double sum = 0, squares = 0, chance = 0;
    prior p = {0, 0};
    if (n == 0) return p;
    for (size_t i = 0; i < n; i++) {
        double e = log(variance[i]) - digamma(dof[i] / 2) + log(dof[i] / 2);
        sum += e;
        squares += e * e;
        chance += trigamma(dof[i] / 2) / (double)n;
    }
    double mean = sum / (double)n, among = (double)(n > 1 ? n - 1 : 1);
    double beyond = (squares - sum * mean) / among - chance * (1 + sqrt(2 / among));
    p.dof = beyond > 0 ? fmin(DOF_MOST, 2 * trigamma_inverse(beyond)) : DOF_MOST;
    p.variance = exp(mean + digamma(p.dof / 2) - log(p.dof / 2));
    return p;
}

/* Spreads of a part, of it in one condition and of its lines are of one family; blows are of another. */
static bool same_family(kind a, kind b) {
    return a == b;
}

static lay_status find_prior(const lay_rises *rises, kind k, prior *out, lay_error *err) {
    double *variance = lay_calloc(rises->count + 1, sizeof(double)),
           *dof = lay_calloc(rises->count + 1, sizeof(double));
    size_t n = 0;
    for (size_t i = 0; variance && dof && i < rises->count; i++) {
        if (!same_family(kind_of(&rises->items[i]), k)) continue;
        variance[n] = rises->items[i].variance;
        dof[n++] = rises->items[i].units - 1;
    }
    bool made = variance && dof;
    *out = made ? prior_of(variance, dof, n) : (prior){0};
    free(variance);
    free(dof);
    return made ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the limits");
}

static lay_status moderate(const lay_rises *rises, kind k, lay_limit *limits, lay_error *err) {
    prior p;
    size_t n = 0;
    lay_status status = find_prior(rises, k, &p, err);
    for (size_t i = 0; i < rises->count; i++) n += kind_of(&rises->items[i]) == k;
    for (size_t i = 0; i < rises->count && status == LAY_OK; i++) {
        const lay_rise *r = &rises->items[i];
        double dof = r->units - 1;
        if (kind_of(r) != k) continue;
        lay_limit *l = &limits[i];
        l->dof = p.dof + dof;
        l->spread_db = sqrt((p.dof * p.variance + dof * r->variance) / l->dof);
        double t = lay_student_threshold(share[k] / (double)n, l->dof);
        l->limit_db = t * sqrt(1 + 1.0 / r->units) * l->spread_db;
    }
    return status;
}

lay_status lay_limits_of(const lay_rises *rises, lay_limit **out, lay_error *err) {
    lay_limit *limits = lay_calloc(rises->count + 1, sizeof *limits);
    lay_status status = limits ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the limits");
    for (size_t i = 0; status == LAY_OK && i < rises->count; i++) {
        const lay_rise *r = &rises->items[i];
        limits[i] = (lay_limit){r->part, r->type, r->harmonic, r->condition, r->units, NAN, NAN, NAN};
    }
    for (int k = 0; k < KINDS && status == LAY_OK; k++) status = moderate(rises, (kind)k, limits, err);
    *out = limits;
    return status;
}

/* ---- a unit against them ---- */

/* How far the blows of a bearing surpass their surroundings in the condition that shows them second best: one alone is
 * no evidence. */
static double blows_of(const lay_baseline *b, const char *part, size_t unit) {
    double most = -INFINITY, second = -INFINITY;
    for (size_t c = 0; c < b->condition_count; c++)
        for (size_t k = 0; k < b->conditions[c].line_count; k++) {
            const lay_baseline_line *l = &b->conditions[c].lines[k];
            double level = l->levels[unit * LAY_BASELINE_BANDS].level_db;
            if (l->type != LAY_PART_BEARING || strcasecmp(l->part, part) != 0 || isnan(level)) continue;
            second = fmax(second, fmin(most, level));
            most = fmax(most, level);
        }
    return second;
}

size_t lay_limits_worst(const lay_baseline *b, const lay_rises *rises, const lay_limit *limits, size_t unit,
                        const char *part, double *margin_db) {
    size_t worst = rises->count;
    *margin_db = INFINITY;
    for (size_t i = 0; i < rises->count; i++) {
        const lay_rise *r = &rises->items[i];
        if (isnan(limits[i].limit_db) || isnan(r->db[unit]) || (part && strcasecmp(part, r->part) != 0)) continue;
        double margin = limits[i].limit_db - r->db[unit];
        if (r->type == LAY_PART_BEARING) margin = fmax(margin, BEARING_DB - blows_of(b, r->part, unit));
        if (margin < *margin_db) *margin_db = margin, worst = i;
    }
    return worst;
}

/* ---- odd units ---- */

/* Each good unit against all others; the one that fails worst. */
static lay_status find_odd(const lay_baseline *b, bool *used, size_t *odd, lay_text *why, lay_error *err) {
    double most = -ODD_DB;
    *odd = b->unit_count;
    for (size_t u = 0; u < b->unit_count; u++) {
        lay_rises rises = {0};
        lay_limit *limits = NULL;
        double margin;
        if (!used[u]) continue;
        used[u] = false;
        lay_status status = lay_rises_find(b, used, u, &rises, err);
        if (status == LAY_OK) status = lay_limits_of(&rises, &limits, err);
        used[u] = true;
        if (status == LAY_OK) {
            size_t worst = lay_limits_worst(b, &rises, limits, u, NULL, &margin);
            if (worst < rises.count && margin < most) {
                most = margin;
                *odd = u;
                lay_text_free(why);
                lay_text_add(why, "%s is %.1f dB louder than in the others, %.1f dB above the limit they set",
                             rises.items[worst].part, rises.items[worst].db[u], -margin);
            }
        }
        lay_rises_free(&rises);
        free(limits);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}

static lay_status leave_out(const lay_baseline *b, lay_limits *out, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t left = 0; 4 * (left + 1) <= b->unit_count && status == LAY_OK; left++) {
        size_t odd;
        lay_text why = {0};
        if (out->used_count <= LAY_BASELINE_LEAST + 1) break;
        status = find_odd(b, out->used, &odd, &why, err);
        if (status != LAY_OK || odd == b->unit_count) {
            lay_text_free(&why);
            break;
        }
        out->used[odd] = false;
        out->used_count--;
        out->odd[odd] = why.failed ? NULL : why.text;
    }
    return status;
}

static double median_of(const lay_limit *limits, size_t count) {
    double *values = lay_calloc(count + 1, sizeof(double));
    size_t n = 0;
    for (size_t i = 0; values && i < count; i++)
        if (limits[i].type == LAY_PART_MESH && limits[i].harmonic == 0 && limits[i].condition < 0 &&
            !isnan(limits[i].limit_db))
            values[n++] = limits[i].limit_db;
    double median = n ? lay_median(values, n) : NAN;
    free(values);
    return median;
}

lay_status lay_limits_find(const lay_baseline *b, lay_limits *out, lay_error *err) {
    *out = (lay_limits){.unit_count = b->unit_count, .used_count = b->unit_count};
    if (b->unit_count < LAY_BASELINE_LEAST)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the baseline holds %zu good unit%s: %d are needed at least, %d make sharp limits",
                        b->unit_count, b->unit_count == 1 ? "" : "s", LAY_BASELINE_LEAST, LAY_BASELINE_ENOUGH);
    lay_rises rises = {0};
    out->used = lay_calloc(b->unit_count, sizeof *out->used);
    out->odd = lay_calloc(b->unit_count, sizeof *out->odd);
    lay_status status = out->used && out->odd ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t u = 0; u < b->unit_count && status == LAY_OK; u++) out->used[u] = true;
    if (status == LAY_OK) status = leave_out(b, out, err);
    if (status == LAY_OK) status = lay_rises_find(b, out->used, LAY_NO_UNIT, &rises, err);
    if (status == LAY_OK) status = lay_limits_of(&rises, &out->items, err);
    if (status == LAY_OK && !(out->rise_db = lay_calloc(rises.count * b->unit_count + 1, sizeof(double))))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the limits");
    for (size_t i = 0; i < rises.count && status == LAY_OK; i++)
        for (size_t u = 0; u < b->unit_count; u++) out->rise_db[i * b->unit_count + u] = rises.items[i].db[u];
    if (status == LAY_OK) {
        out->count = rises.count;
        out->median_db = median_of(out->items, out->count);
    }
    lay_rises_free(&rises);
    if (status != LAY_OK) lay_limits_free(out);
    return status;
}

void lay_limits_free(lay_limits *limits) {
    if (!limits) return;
    for (size_t u = 0; limits->odd && u < limits->unit_count; u++) free(limits->odd[u]);
    free(limits->odd);
    free(limits->used);
    free(limits->items);
    free(limits->rise_db);
    *limits = (lay_limits){0};
}
