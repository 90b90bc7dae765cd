#include "pulses.h"

#include <math.h>
#include <stdlib.h>

/* The angle at a pulse is the value at its time of a least-squares quadratic through its neighbours. How many
 * neighbours depends on how far the pulses scatter: edges that are sharp to a few 1e-5 turns are taken nearly as they
 * are, jittery ones are averaged until some 2e-4 turns remain (0.13 rad at order 100), over at most 0.3 s. */

#define GOAL_TURNS 2e-4
#define LONGEST_S 0.3
#define MOST_NEIGHBOURS 30 /* each side */
#define KNOTS_PER_SECOND 60.0

typedef struct stretch {
    const double *t;
    const double *n; /* turns */
    size_t count;
} stretch;

static size_t reach_at(const stretch *s, size_t i, size_t wanted) {
    size_t h = wanted;
    while (h > 2) {
        size_t first = i > h ? i - h : 0, last = i + h < s->count ? i + h : s->count - 1;
        if (s->t[last] - s->t[first] <= LONGEST_S * 2) break;
        h--;
    }
    return h;
}

/* Quadratic about pulse i from `h` neighbours each side, pulse i itself left out when `without`. */
static bool fit_at(const stretch *s, size_t i, size_t h, bool without, double b[3]) {
    double t[2 * MOST_NEIGHBOURS + 1], n[2 * MOST_NEIGHBOURS + 1];
    size_t first = i > h ? i - h : 0, last = i + h < s->count ? i + h : s->count - 1, count = 0;
    for (size_t k = first; k <= last; k++) {
        if (without && k == i) continue;
        t[count] = s->t[k];
        n[count++] = s->n[k] - s->n[i];
    }
    return lay_quadratic_fit(t, n, count, s->t[i], b);
}

/* Scatter of pulses about their neighbours' quadratic (two each side), robust. A prediction from four neighbours has
 * itself a variance: the residual's is 35/18 of one pulse's at even spacing (derived here). */
static double scatter(const stretch *s) {
    enum { MOST = 4000 };
    double *r = lay_calloc(MOST, sizeof *r);
    size_t n = 0, stride = 1 + s->count / MOST;
    if (!r) return GOAL_TURNS;
    for (size_t i = 2; i + 2 < s->count && n < MOST; i += stride) {
        double b[3];
        if (fit_at(s, i, 2, true, b)) r[n++] = fabs(b[0]);
    }
    double sd = n ? 1.4826 * lay_median(r, n) / sqrt(35.0 / 18) : 0;
    free(r);
    return sd;
}

static size_t neighbours_for(double sd) {
    double points = 2.25 * (sd / GOAL_TURNS) * (sd / GOAL_TURNS);
    double h = ceil((points - 1) / 2);
    return (size_t)fmax(2, fmin(MOST_NEIGHBOURS, h));
}

/* ---- knots ---- */

typedef struct knots {
    lay_shaft *out;
    size_t capacity, segment_capacity;
    lay_error *err;
} knots;

static lay_status room(knots *k) {
    lay_shaft *s = k->out;
    if (s->count < k->capacity) return LAY_OK;
    size_t capacity = k->capacity ? 2 * k->capacity : 256;
    double *time = realloc(s->time, capacity * sizeof *time);
    if (time) s->time = time;
    double *turns = realloc(s->turns, capacity * sizeof *turns);
    if (turns) s->turns = turns;
    double *hz = realloc(s->hz, capacity * sizeof *hz);
    if (hz) s->hz = hz;
    if (!time || !turns || !hz) return lay_fail(k->err, LAY_NO_MEMORY, "not enough memory for the shaft's angle");
    k->capacity = capacity;
    return LAY_OK;
}

static lay_status add_knot(knots *k, double time, double turns, double hz) {
    lay_shaft *s = k->out;
    lay_status status = room(k);
    if (status != LAY_OK) return status;
    s->time[s->count] = time;
    s->turns[s->count] = turns;
    s->hz[s->count++] = hz;
    return LAY_OK;
}

static lay_status fit_stretch(const stretch *s, size_t h, knots *k) {
    if (s->count < 5) return LAY_OK;
    lay_status status =
        lay_grow((void **)&k->out->segment_start, &k->segment_capacity, k->out->segment_count, sizeof(size_t), k->err);
    if (status != LAY_OK) return status;
    size_t first = k->out->count;
    double last_time = -INFINITY, last_turns = -INFINITY;
    for (size_t i = 0; i < s->count && status == LAY_OK; i++) {
        bool end = i == 0 || i + 1 == s->count;
        double b[3];
        if (!end && s->t[i] - last_time < 1 / KNOTS_PER_SECOND) continue;
        if (!fit_at(s, i, reach_at(s, i, h), false, b) || !(b[1] > 0)) continue;
        double turns = s->n[i] + b[0];
        if (!(turns > last_turns) || !(s->t[i] > last_time)) continue;
        status = add_knot(k, s->t[i], turns, b[1]);
        last_time = s->t[i], last_turns = turns;
    }
    if (k->out->count - first >= 3)
        k->out->segment_start[k->out->segment_count++] = first;
    else
        k->out->count = first;
    return status;
}

/* Pulses that lie far off their neighbours' curve (a spike taken for an edge) are left out. */
static size_t drop_outliers(double *t, double *n, size_t count, double sd) {
    const stretch s = {t, n, count};
    double limit = fmax(6 * sd, 1e-5);
    size_t kept = 0;
    bool *bad = lay_calloc(count + 1, sizeof *bad);
    if (!bad) return count;
    for (size_t i = 3; i + 3 < count; i++) {
        double b[3];
        bad[i] = fit_at(&s, i, 3, true, b) && fabs(b[0]) > limit && !bad[i - 1];
    }
    for (size_t i = 0; i < count; i++)
        if (!bad[i]) t[kept] = t[i], n[kept++] = n[i];
    free(bad);
    return kept;
}

static lay_status fit_all(lay_pulses *p, double *t, double *n, double per_turn, knots *k) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < p->count; i++) {
        t[i] = p->items[i].time;
        n[i] = p->items[i].number / per_turn;
    }
    for (size_t first = 0; first < p->count && status == LAY_OK;) {
        size_t end = first + 1;
        while (end < p->count && !p->items[end].broken) end++;
        stretch s = {t + first, n + first, end - first};
        double sd = scatter(&s);
        s.count = drop_outliers(t + first, n + first, s.count, sd);
        status = fit_stretch(&s, neighbours_for(sd), k);
        first = end;
    }
    return status;
}

lay_status lay_pulses_fit(lay_pulses *p, double per_turn, lay_shaft *out, lay_error *err) {
    knots k = {.out = out, .err = err};
    double *t = lay_calloc(2 * p->count + 1, sizeof *t);
    if (!t) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the shaft's angle");
    lay_status status = fit_all(p, t, t + p->count, per_turn, &k);
    free(t);
    if (status == LAY_OK && out->segment_count == 0)
        status = lay_fail(err, LAY_BAD_INPUT,
                          "the pulses are too irregular to be a tach: check the channel and pulses_per_rev");
    if (status != LAY_OK) lay_shaft_free(out);
    return status;
}
