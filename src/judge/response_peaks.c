/* Resonances: peaks of the answer that several orders show at the same frequency. One order alone may peak for reasons
 * of its own. */
#include "response.h"

#include <math.h>
#include <stdlib.h>

#define LEAST_DB 3.0   /* prominence of a peak worth asking the orders about */
#define ORDER_DB 2.0   /* by which one order must rise there */
#define ORDER_Z 2.0    /* in standard errors */
#define MEAN_DB 3.0    /* by which they rise on average */
#define MOST_AGREE 0.6 /* share of the orders that pass it */
#define ALL_Z 4.0      /* of all of them together */
#define NARROW 0.02    /* narrowest width, relative */
#define WIDE 0.25      /* wider rises are no resonance */

/* A peak of the curve. */
typedef struct peak {
    size_t at;
    double log_f, prominence, width; /* width: relative, between the points 3 dB below */
} peak;

static bool known(const lay_response *r, size_t i) {
    return !isnan(r->answer_db[i]);
}

/* Lowest value on the way from `at` in direction `by` before something higher comes, the curve ends or gets unknown. */
static double valley(const lay_response *r, size_t at, int by) {
    double least = r->answer_db[at];
    for (long i = (long)at + by; i >= 0 && (size_t)i < r->points && known(r, (size_t)i); i += by) {
        if (r->answer_db[i] > r->answer_db[at]) break;
        least = fmin(least, r->answer_db[i]);
    }
    return least;
}

/* Steps from the peak to where the curve has fallen by `fall`, between points by straight lines. */
static double reach(const lay_response *r, size_t at, int by, double fall) {
    double level = r->answer_db[at] - fall;
    for (long i = (long)at + by; i >= 0 && (size_t)i < r->points && known(r, (size_t)i); i += by) {
        if (r->answer_db[i] > level) continue;
        double before = r->answer_db[i - by], here = r->answer_db[i];
        return fabs((double)(i - (long)at)) - (level - here) / (before - here);
    }
    return INFINITY;
}

static bool is_peak(const lay_response *r, size_t i, peak *out) {
    if (i == 0 || i + 1 >= r->points || !known(r, i - 1) || !known(r, i) || !known(r, i + 1)) return false;
    double a = r->answer_db[i - 1], b = r->answer_db[i], c = r->answer_db[i + 1];
    if (b < a || b <= c) return false;
    double left = b - valley(r, i, -1), right = b - valley(r, i, 1), bend = a - 2 * b + c;
    double prominence = fmin(left, right);
    if (prominence < LEAST_DB) return false;
    double fall = fmin(3, 0.5 * prominence), steps = reach(r, i, -1, fall) + reach(r, i, 1, fall);
    if (!(steps * r->step < WIDE)) return false;
    double shift = bend < 0 ? 0.5 * (a - c) / bend : 0;
    out->at = i;
    out->log_f = log(r->low_hz) + ((double)i + shift) * r->step;
    out->prominence = prominence;
    out->width = fmax(NARROW, steps * r->step);
    return true;
}

/* ---- what one order says of a peak ---- */

typedef struct opinion {
    bool passes;
    double rise, se;
} opinion;

/* Level within the peak against the level either side of it, excitation and slope taken off, of all cuts of one order.
 */
static opinion ask(const lay_level_points *p, const lay_cut *cuts, const lay_response *r, const peak *k, double order) {
    double in = 0, beside[2] = {0}, inside = 0, n[2] = {0};
    for (size_t i = 0; i < p->count; i++) {
        const lay_level_point *x = &p->items[i];
        double off = x->log_f - k->log_f;
        if (fabs(cuts[x->cut].order - order) > 1e-6 * order || cuts[x->cut].count < 4) continue;
        double level = x->db - r->excitation_db[x->cut] - r->slope[x->cut] * x->speed;
        if (fabs(off) <= 0.5 * k->width) in += level, inside++;
        int side = off > 0;
        if (fabs(off) > k->width && fabs(off) < fmax(3 * k->width, 0.08)) beside[side] += level, n[side]++;
    }
    opinion o = {.passes = inside >= 1 && n[0] + n[1] >= 3 && (n[0] >= 1 || n[1] >= 1)};
    if (!o.passes) return o;
    double around = (beside[0] + beside[1]) / (n[0] + n[1]);
    o.rise = in / inside - around;
    o.se = r->residual_db * sqrt(1 / inside + 1 / (n[0] + n[1]));
    return o;
}

/* True when the orders agree; their number and mean rise into `out`. */
static bool agreed(const lay_level_points *p, const lay_cut *cuts, const lay_response *r, const peak *k,
                   lay_resonance *out) {
    int pass = 0, yes = 0;
    double z = 0, rise = 0, weight = 0;
    for (size_t c = 0; c < p->cuts; c++) {
        bool seen = false;
        for (size_t d = 0; d < c; d++) seen |= fabs(cuts[d].order - cuts[c].order) < 1e-6 * cuts[c].order;
        if (seen) continue;
        opinion o = ask(p, cuts, r, k, cuts[c].order);
        if (!o.passes) continue;
        pass++;
        yes += o.rise >= ORDER_DB && o.rise >= ORDER_Z * o.se;
        z += o.rise / o.se;
        rise += o.rise / (o.se * o.se);
        weight += 1 / (o.se * o.se);
    }
    out->orders = yes;
    return yes >= 2 && yes >= MOST_AGREE * pass && z >= ALL_Z * sqrt(pass) && rise / weight >= MEAN_DB;
}

static int by_gain(const void *a, const void *b) {
    double x = ((const lay_resonance *)a)->gain_db, y = ((const lay_resonance *)b)->gain_db;
    return (x < y) - (x > y);
}

lay_status lay_response_peaks(const lay_level_points *points, const lay_cut *cuts, lay_response *out, lay_error *err) {
    size_t capacity = 0;
    lay_status status = LAY_OK;
    for (size_t i = 0; i < out->points && status == LAY_OK; i++) {
        peak k;
        lay_resonance found = {0};
        if (!is_peak(out, i, &k) || !agreed(points, cuts, out, &k, &found)) continue;
        found.hz = exp(k.log_f);
        found.gain_db = k.prominence;
        found.width_hz = k.width * found.hz;
        found.sd_hz = found.hz * fmax(0.25 * out->step, 0.5 * k.width * out->sd_db[k.at] / k.prominence);
        status = lay_grow((void **)&out->resonances, &capacity, out->resonance_count, sizeof found, err);
        if (status == LAY_OK) out->resonances[out->resonance_count++] = found;
    }
    if (status == LAY_OK && out->resonance_count)
        qsort(out->resonances, out->resonance_count, sizeof *out->resonances, by_gain);
    return status;
}
