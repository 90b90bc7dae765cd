#include "response.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* level of order o at speed s = excitation + slope * 10 lg s + answer(o s) + scatter (derived here).
 *
 * The answer is a curve over log frequency whose second differences are held small, everything else is free; robust
 * least squares. A trend of the answer cannot be told from the slopes: what rises steadily with frequency counts as
 * excitation, and the answer has mean 0. */

#define STAND 4.0        /* power over the floor of a point that counts: 6 dB */
#define STEP 0.012       /* of log frequency */
#define POINTS_MAX 320   /* of the answer */
#define BEND_DB 1.5      /* second differences of the answer, standard deviation */
#define HOLD 1e-3        /* of the answer itself: where nothing tells, it is 0 */
#define SLOPE_SD 1.5     /* by how much slopes of the orders differ from one another */
#define SLOPES_SD 4.0    /* and the common one from 0 */
#define ROUNDS 8         /* of robust weighting */
#define SPEED_RATIO 1.15 /* least range of speed */
#define LEAST_POINTS 20

void lay_response_free(lay_response *r) {
    if (!r) return;
    free(r->answer_db);
    free(r->sd_db);
    free(r->resonances);
    free(r->excitation_db);
    free(r->slope);
    *r = (lay_response){0};
}

/* ---- points ---- */

static lay_status gather(const lay_cut *cuts, size_t count, lay_level_points *out, lay_error *err) {
    size_t most = 0;
    for (size_t c = 0; c < count; c++) most += cuts[c].count;
    *out = (lay_level_points){.cuts = count};
    out->items = lay_calloc(most + 1, sizeof *out->items);
    if (!out->items) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the structure's answer");
    double sum = 0;
    for (size_t c = 0; c < count; c++)
        for (size_t i = 0; i < cuts[c].count; i++) {
            const lay_cut *cut = &cuts[c];
            if (!(cut->power[i] > STAND * cut->floor[i]) || !(cut->hz[i] > 0)) continue;
            lay_level_point *p = &out->items[out->count++];
            *p = (lay_level_point){.cut = c, .weight = 1};
            p->db = lay_db_power(cut->power[i] - cut->floor[i]);
            p->log_f = log(cut->order * cut->hz[i]);
            p->speed = log(cut->hz[i]);
            sum += p->speed;
        }
    if (!out->count) return LAY_OK;
    out->mean_hz = exp(sum / (double)out->count);
    for (size_t i = 0; i < out->count; i++) out->items[i].speed = lay_db_power(exp(out->items[i].speed) / out->mean_hz);
    return LAY_OK;
}

/* From second differences within the cuts, which curves hardly touch; the fit's own rests would be too small where few
 * levels tell of a frequency. */
static double scatter_of(const lay_level_points *p, double *work) {
    size_t n = 0;
    for (size_t i = 1; i + 1 < p->count; i++) {
        const lay_level_point *x = &p->items[i];
        if (x[-1].cut != x->cut || x[1].cut != x->cut) continue;
        work[n++] = fabs(x->db - 0.5 * (x[-1].db + x[1].db));
    }
    return n ? fmax(1.4826 * lay_median(work, n) / sqrt(1.5), 0.1) : 1;
}

/* Two orders pass some frequency, and speed changes enough. */
static bool enough(const lay_level_points *p, const lay_cut *cuts) {
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < p->count; i++) {
        low = fmin(low, p->items[i].speed);
        high = fmax(high, p->items[i].speed);
    }
    if (p->count < LEAST_POINTS || high - low < lay_db_power(SPEED_RATIO)) return false;
    for (size_t a = 0; a < p->cuts; a++)
        for (size_t b = 0; b < a; b++) {
            const lay_cut *x = &cuts[a], *y = &cuts[b];
            if (x->count < 2 || y->count < 2 || fabs(x->order - y->order) < 1e-6 * x->order) continue;
            double from = fmax(x->order * x->hz[0], y->order * y->hz[0]);
            double to = fmin(x->order * x->hz[x->count - 1], y->order * y->hz[y->count - 1]);
            if (to > from) return true;
        }
    return false;
}

/* ---- least squares ---- */

/* Unknowns: answer [points], excitation [cuts], slope [cuts] less the common one, common slope. */
typedef struct normal {
    size_t n;
    double *a, *b; /* lower half of a, row by row */
} normal;

static void add_row(normal *m, const size_t *at, const double *value, size_t count, double y, double weight) {
    for (size_t i = 0; i < count; i++) {
        m->b[at[i]] += weight * value[i] * y;
        for (size_t j = 0; j < count; j++)
            if (at[j] <= at[i]) m->a[at[i] * m->n + at[j]] += weight * value[i] * value[j];
    }
}

static void add_point(normal *m, const lay_level_point *p, const lay_response *out, size_t cuts) {
    double at = (p->log_f - log(out->low_hz)) / out->step;
    size_t i = at <= 0 ? 0 : (size_t)at;
    if (i + 2 > out->points) i = out->points - 2;
    double share = at - (double)i;
    const size_t where[] = {i, i + 1, out->points + p->cut, out->points + cuts + p->cut, out->points + 2 * cuts};
    const double value[] = {1 - share, share, 1, p->speed, p->speed};
    add_row(m, where, value, 5, p->db, p->weight);
}

static void add_priors(normal *m, const lay_response *out, size_t cuts, double scatter) {
    double smooth = scatter * scatter / (BEND_DB * BEND_DB);
    for (size_t i = 0; i + 2 < out->points; i++)
        add_row(m, (size_t[]){i, i + 1, i + 2}, (double[]){1, -2, 1}, 3, 0, smooth);
    for (size_t i = 0; i < out->points; i++) m->a[i * m->n + i] += HOLD;
    for (size_t c = 0; c < cuts; c++) {
        size_t e = out->points + c, s = e + cuts;
        m->a[e * m->n + e] += 1e-9;
        m->a[s * m->n + s] += 1 / (SLOPE_SD * SLOPE_SD);
    }
    size_t common = out->points + 2 * cuts;
    m->a[common * m->n + common] += 1 / (SLOPES_SD * SLOPES_SD);
}

/* Cholesky in place, then the solution into b. Zero pivots cannot happen: every unknown has a prior. */
static void solve(normal *m) {
    size_t n = m->n;
    for (size_t i = 0; i < n; i++) {
        double *row = m->a + i * n;
        for (size_t j = 0; j <= i; j++) {
            const double *other = m->a + j * n;
            double sum = row[j];
            for (size_t k = 0; k < j; k++) sum -= row[k] * other[k];
            row[j] = i == j ? sqrt(fmax(sum, 1e-12)) : sum / other[j];
        }
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++) m->b[i] -= m->a[i * n + k] * m->b[k];
        m->b[i] /= m->a[i * n + i];
    }
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++) m->b[i] -= m->a[k * n + i] * m->b[k];
        m->b[i] /= m->a[i * n + i];
    }
}

/* ---- the fit ---- */

static double model(const lay_level_point *p, const lay_response *r) {
    double at = (p->log_f - log(r->low_hz)) / r->step;
    size_t i = at <= 0 ? 0 : (size_t)at;
    if (i + 2 > r->points) i = r->points - 2;
    double share = at - (double)i;
    return (1 - share) * r->answer_db[i] + share * r->answer_db[i + 1] + r->excitation_db[p->cut] +
           r->slope[p->cut] * p->speed;
}

static void take(const normal *m, size_t cuts, lay_response *out) {
    memcpy(out->answer_db, m->b, out->points * sizeof(double));
    for (size_t c = 0; c < cuts; c++) {
        out->excitation_db[c] = m->b[out->points + c];
        out->slope[c] = m->b[out->points + cuts + c] + m->b[out->points + 2 * cuts];
    }
}

/* Tukey's weights on 4.7 robust deviations of the rests. */
static double weigh(lay_level_points *p, const lay_response *out, double *work) {
    for (size_t i = 0; i < p->count; i++) {
        p->items[i].rest = p->items[i].db - model(&p->items[i], out);
        work[i] = fabs(p->items[i].rest);
    }
    double sd = fmax(1.4826 * lay_median(work, p->count), p->scatter);
    for (size_t i = 0; i < p->count; i++) {
        double u = p->items[i].rest / (4.7 * sd);
        p->items[i].weight = fabs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0;
    }
    return sd;
}

static lay_status make_room(const lay_level_points *p, lay_response *out, normal *m, lay_error *err) {
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < p->count; i++) {
        low = fmin(low, p->items[i].log_f);
        high = fmax(high, p->items[i].log_f);
    }
    out->points = (size_t)((high - low) / STEP) + 2;
    if (out->points > POINTS_MAX) out->points = POINTS_MAX;
    out->low_hz = exp(low);
    out->step = (high - low) / (double)(out->points - 1);
    m->n = out->points + 2 * p->cuts + 1;
    m->a = lay_calloc(m->n * m->n, sizeof *m->a);
    m->b = lay_calloc(m->n, sizeof *m->b);
    out->answer_db = lay_calloc(out->points, sizeof(double));
    out->sd_db = lay_calloc(out->points, sizeof(double));
    out->excitation_db = lay_calloc(p->cuts, sizeof(double));
    out->slope = lay_calloc(p->cuts, sizeof(double));
    if (m->a && m->b && out->answer_db && out->sd_db && out->excitation_db && out->slope) return LAY_OK;
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the structure's answer");
}

static lay_status fit(lay_level_points *p, normal *m, lay_response *out, lay_error *err) {
    double *work = lay_calloc(p->count, sizeof *work);
    if (!work) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the structure's answer");
    p->scatter = scatter_of(p, work);
    for (int round = 0; round < ROUNDS; round++) {
        memset(m->a, 0, m->n * m->n * sizeof *m->a);
        memset(m->b, 0, m->n * sizeof *m->b);
        for (size_t i = 0; i < p->count; i++) add_point(m, &p->items[i], out, p->cuts);
        add_priors(m, out, p->cuts, p->scatter);
        solve(m);
        take(m, p->cuts, out);
        out->residual_db = weigh(p, out, work);
    }
    free(work);
    return LAY_OK;
}

/* Mean 0 over what was passed; NaN where no order did. How many points there are says how well it is known. */
static lay_status finish(const lay_level_points *p, lay_response *out, lay_error *err) {
    double *passed = lay_calloc(out->points, sizeof *passed), sum = 0, known = 0;
    if (!passed) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the structure's answer");
    for (size_t i = 0; i < p->count;
         i++) { /* a level tells of its neighbours too: steps of speed are wider than the curve's */
        long at = lround((p->items[i].log_f - log(out->low_hz)) / out->step);
        for (long k = at - 1; k <= at + 1; k++)
            if (k >= 0 && (size_t)k < out->points) passed[k] += p->items[i].weight;
    }
    for (size_t i = 0; i < out->points; i++) {
        if (passed[i] > 0) sum += out->answer_db[i], known++;
        out->sd_db[i] = passed[i] > 0 ? out->residual_db / sqrt(fmax(passed[i], 1)) : NAN;
    }
    double mean = known > 0 ? sum / known : 0;
    for (size_t i = 0; i < out->points; i++) out->answer_db[i] = passed[i] > 0 ? out->answer_db[i] - mean : NAN;
    for (size_t c = 0; c < p->cuts; c++) out->excitation_db[c] += mean;
    free(passed);
    return LAY_OK;
}

/* Cuts of which no point counted have no excitation. */
static void blank_cuts(const lay_level_points *p, lay_response *out) {
    for (size_t c = 0; c < p->cuts; c++) {
        bool any = false;
        for (size_t i = 0; i < p->count && !any; i++) any = p->items[i].cut == c;
        if (!any) out->excitation_db[c] = out->slope[c] = NAN;
    }
}

lay_status lay_response_find(const lay_cut *cuts, size_t cut_count, lay_response *out, bool *found, lay_error *err) {
    *out = (lay_response){0};
    *found = false;
    lay_level_points points = {0};
    normal m = {0};
    lay_status status = gather(cuts, cut_count, &points, err);
    bool worth = status == LAY_OK && enough(&points, cuts);
    if (worth) {
        status = make_room(&points, out, &m, err);
        if (status == LAY_OK) status = fit(&points, &m, out, err);
        if (status == LAY_OK) {
            blank_cuts(&points, out);
            status = finish(&points, out, err);
        }
        if (status == LAY_OK) status = lay_response_peaks(&points, cuts, out, err);
    }
    free(m.a);
    free(m.b);
    free(points.items);
    *found = worth && status == LAY_OK;
    if (!*found) lay_response_free(out);
    return status;
}
