/* From the cases of a part to one change and its interval. */
#include "compare.h"

#include <math.h>
#include <stdlib.h>

/* Deviation of a part's level from one recording to the next under the load that the table states: nobody drives twice
 * alike (common practice, no source), and how many degrees of freedom that is worth. */
#define USUAL_DB 0.5
#define USUAL_DOF 10.0
#define PARTS_LEAST 3 /* that tell of the scatter, below only the usual value holds */
#define PARTS_MOST 128
#define QUIET 0.06 /* of the power where it is loudest: 12 dB */
#define TWO_SIDED 0.025
#define ODD 6.63 /* chi-square of one degree of freedom passed in one of 100 cases */

/* How many recordings stand behind a difference: 1 / before + 1 / after. */
static double behind(const lay_comparing *c, size_t shared) {
    const lay_overlap *o = &c->overlaps[shared];
    return 1.0 / o->before->runs + 1.0 / o->after->runs;
}

static double change_db(const lay_comparing *c, size_t shared, const lay_estimate *e) {
    return LAY_LN_DB * e->ln - c->out->shared[shared].shift_db;
}

/* Scatter of a part's changes from condition to condition beyond what is within the runs, as variance of one recording;
 * -1: it was heard in fewer than two. */
static double scatter_of(const lay_comparing *c, size_t part, double *dof) {
    double sum = 0, squares = 0, within = 0, records = 0, n = 0;
    for (size_t j = 0; j < c->out->shared_count; j++) {
        const lay_estimate *e = &lay_case_at(c, part, j)->estimate;
        if (!e->before || !e->after) continue;
        double d = change_db(c, j, e);
        sum += d;
        squares += d * d;
        within += LAY_LN_DB * LAY_LN_DB * e->variance;
        records += behind(c, j);
        n += 1;
    }
    *dof = n - 1;
    if (n < 2) return -1;
    double between = (squares - sum * sum / n) / (n - 1) - within / n;
    return fmax(0, between) / (records / n);
}

/* One part may really have changed more in one gear than in another: the median over the parts knows nothing of it. */
void lay_compare_repeat(lay_comparing *c) {
    double scatter[PARTS_MOST], dof[PARTS_MOST];
    size_t n = 0;
    for (size_t p = 0; p < c->out->part_count && n < PARTS_MOST; p++) {
        double s = scatter_of(c, p, &dof[n]);
        if (s >= 0) scatter[n++] = s;
    }
    c->repeat_dof = USUAL_DOF;
    c->out->repeat_db = USUAL_DB;
    c->out->repeat_known = n >= PARTS_LEAST;
    if (n < PARTS_LEAST) return;
    double seen = lay_median(scatter, n), known = lay_median(dof, n);
    c->repeat_dof += known;
    c->out->repeat_db = sqrt((USUAL_DOF * USUAL_DB * USUAL_DB + known * seen) / (USUAL_DOF + known));
}

/* ---- both times out of the noise ---- */

typedef struct pooled {
    double weights, sum, within, squares, records; /* of the changes, by their variances */
    double within_dof;                             /* sum of the squares of variances over their degrees of freedom */
    size_t count;
} pooled;

static void add(const lay_comparing *c, size_t shared, const lay_estimate *e, pooled *p) {
    double within = LAY_LN_DB * LAY_LN_DB * e->variance,
           repeat = c->out->repeat_db * c->out->repeat_db * behind(c, shared);
    double w = 1 / (within + repeat), d = change_db(c, shared, e);
    p->weights += w;
    p->sum += w * d;
    p->squares += w * d * d;
    p->within += w * w * within;
    p->within_dof += w * w * within * (w * w * within) / fmax(1, e->dof);
    p->records += w * w * repeat;
    p->count++;
}

/* The conditions contradict each other by more than chance leaves. */
static bool contradict(const pooled *p) {
    return p->count > 1 && p->squares - p->sum * p->sum / p->weights > ODD + (double)p->count - 2;
}

/* Degrees of freedom of a sum of variances: Welch 1938 and Satterthwaite 1946, from memory of the works. */
static void change_of(const lay_comparing *c, const pooled *p, lay_change *out) {
    double variance = 1 / p->weights, mean = p->sum / p->weights;
    double parts = p->within_dof + p->records * p->records / c->repeat_dof;
    double dof = parts > 0 ? (p->within + p->records) * (p->within + p->records) / parts : 1e6;
    double half = lay_student_threshold(TWO_SIDED, dof) * sqrt(variance);
    out->db = mean;
    out->low_db = mean - half;
    out->high_db = mean + half;
    out->chance = 2 * lay_student_survival(fabs(mean) / sqrt(variance), dof);
}

/* ---- in the noise once ---- */

/* How loud the side in the noise may be at most, over the other, leaves one bound. */
static void bound_of(const lay_comparing *c, size_t shared, const lay_estimate *e, lay_change *out) {
    double repeat = c->out->repeat_db * sqrt(behind(c, shared));
    double half = lay_student_threshold(TWO_SIDED, c->repeat_dof) * hypot(repeat, LAY_LN_DB * sqrt(e->variance));
    double ratio = exp(e->ln), d = change_db(c, shared, e);
    if (e->before) {
        double high = d + lay_db_power((ratio + 2 * e->after_noise) / ratio) + half;
        if (isnan(out->high_db) || high < out->high_db)
            *out = (lay_change){d, NAN, high, high < 0 ? 0.01 : 1, true, false};
    } else {
        double low = d - lay_db_power((1 / ratio + 2 * e->before_noise) * ratio) - half;
        if (isnan(out->low_db) || low > out->low_db) *out = (lay_change){d, low, NAN, low > 0 ? 0.01 : 1, false, true};
    }
}

/* ---- over the conditions ---- */

static double loudness(const lay_estimate *e) {
    return fmax(e->before ? e->before_power : 0, e->after ? e->after_power : 0);
}

static size_t loudest(const lay_comparing *c, const lay_estimate *estimates, const bool *there) {
    size_t best = c->out->shared_count;
    for (size_t j = 0; j < c->out->shared_count; j++)
        if (there[j] && loudness(&estimates[j]) > 0 &&
            (best == c->out->shared_count || loudness(&estimates[j]) > loudness(&estimates[best])))
            best = j;
    return best;
}

/* The mean over the conditions in which it is heard both times and nearly as loud as anywhere: where it is much
 * quieter, other parts that sound along count for too much. Where they contradict each other, the loudest alone: a
 * whine on one flank is no whine on the other. */
static void pool(const lay_comparing *c, const lay_estimate *estimates, const bool *there, size_t loud, pooled *p) {
    *p = (pooled){0};
    for (size_t j = 0; j < c->out->shared_count; j++) {
        const lay_estimate *e = &estimates[j];
        if (there[j] && e->before && e->after && loudness(e) > QUIET * loudness(&estimates[loud])) add(c, j, e, p);
    }
    if (!contradict(p) || !estimates[loud].before || !estimates[loud].after) return;
    *p = (pooled){0};
    add(c, loud, &estimates[loud], p);
}

/* A part that drowned where it was loudest changed by more than the mean of the rest allows. */
static bool drowned(const lay_comparing *c, const lay_estimate *estimates, size_t loud, const lay_change *mean,
                    lay_change *bound) {
    const lay_estimate *e = &estimates[loud];
    *bound = (lay_change){NAN, NAN, NAN, 1, false, false};
    if (e->before == e->after) return false;
    bound_of(c, loud, e, bound);
    return e->before ? mean->db > bound->high_db : mean->db < bound->low_db;
}

void lay_compare_change(const lay_comparing *c, const lay_estimate *estimates, const bool *there, lay_change *out) {
    size_t loud = loudest(c, estimates, there);
    bool before = false, after = false;
    pooled both;
    *out = (lay_change){NAN, NAN, NAN, 1, false, false};
    if (loud == c->out->shared_count) return;
    for (size_t j = 0; j < c->out->shared_count; j++) {
        before |= there[j] && estimates[j].before;
        after |= there[j] && estimates[j].after;
    }
    pool(c, estimates, there, loud, &both);
    if (both.count > 0) {
        lay_change bound;
        change_of(c, &both, out);
        if (drowned(c, estimates, loud, out, &bound)) *out = bound;
    } else {
        for (size_t j = 0; j < c->out->shared_count && before != after; j++)
            if (there[j] && (estimates[j].before || estimates[j].after)) bound_of(c, j, &estimates[j], out);
    }
    out->before = before;
    out->after = after;
}
