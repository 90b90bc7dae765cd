#include "pulses.h"

#include <math.h>
#include <stdlib.h>

/* The angle at a pulse is the value at its time of a least-squares quadratic through its neighbours. How many
 * neighbours depends on how far the pulses scatter: edges that are sharp to a few 1e-5 turns are taken nearly as they
 * are, jittery ones are averaged until some 2e-4 turns remain (0.13 rad at order 100), over at most 0.3 s, and until
 * the speed is good to 1.5e-4, over at most 0.06 s: its slope would be bent by flutter otherwise. */

#define GOAL_TURNS 2e-4
#define GOAL_SPEED 1.5e-4
#define STEADY_S 0.06
#define LEAST_PITCH 0.005 /* of the pitch: less bends the speed by some parts in a thousand only */
#define LONGEST_S 0.3
#define MOST_NEIGHBOURS 30 /* each side */
#define KNOTS_PER_SECOND 60.0

typedef struct stretch {
    const double *t;
    const double *n; /* turns */
    size_t count;
} stretch;

/* Neighbours each side that the goals ask for. */
typedef struct wish {
    size_t angle, speed;
    double sd; /* scatter of the pulses, turns */
} wish;

static double span(const stretch *s, size_t i, size_t h) {
    size_t first = i > h ? i - h : 0, last = i + h < s->count ? i + h : s->count - 1;
    return s->t[last] - s->t[first];
}

static size_t reach_at(const stretch *s, size_t i, wish wanted) {
    size_t h = wanted.angle;
    while (h > 2 && span(s, i, h) > LONGEST_S * 2) h--;
    while (h < wanted.speed && span(s, i, h + 1) <= STEADY_S * 2) h++;
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

/* Scatter of pulses about their neighbours' quadratic (two each side). A prediction from four neighbours has itself a
 * variance: the residual's is 35/18 of one pulse's at even spacing (derived here). Where the shaft is accelerated
 * quickly the residual is the curve's, not the pulses': the quiet quarter of the run tells (the lower quartile of |x|
 * of a normal law is 0.3186 standard deviations). */
static double scatter(const stretch *s) {
    enum { MOST = 4000 };
    double *r = lay_calloc(MOST, sizeof *r);
    size_t n = 0, stride = 1 + s->count / MOST;
    if (!r) return GOAL_TURNS;
    for (size_t i = 2; i + 2 < s->count && n < MOST; i += stride) {
        double b[3];
        if (fit_at(s, i, 2, true, b)) r[n++] = fabs(b[0]);
    }
    double sd = n ? lay_quantile(r, n, 0.25) / 0.3186 / sqrt(35.0 / 18) : 0;
    free(r);
    return sd;
}

static size_t neighbours(double h) {
    return (size_t)fmax(2, fmin(MOST_NEIGHBOURS, ceil(h)));
}

/* `spacing`: turns from pulse to pulse. The value of a quadratic in its middle has 9/4 of the variance of a mean, its
 * slope that of a line: sd^2 / (spacing^2 sum k^2), sum k^2 over +-h = h (h + 1)(2 h + 1) / 3, about 2/3 (h + 1/2)^3.
 */
static wish neighbours_for(double sd, double spacing) {
    double points = 2.25 * (sd / GOAL_TURNS) * (sd / GOAL_TURNS), slope = sd / (spacing * GOAL_SPEED);
    return (wish){neighbours((points - 1) / 2), neighbours(cbrt(1.5 * slope * slope) - 0.5), sd};
}

/* Standard deviation of the pulses about the quadratic `b` through h neighbours each side of i. */
static double misfit(const stretch *s, size_t i, size_t h, const double b[3], double *freedom) {
    size_t first = i > h ? i - h : 0, last = i + h < s->count ? i + h : s->count - 1;
    double sum = 0;
    for (size_t k = first; k <= last; k++) {
        double u = s->t[k] - s->t[i], off = s->n[k] - s->n[i] - (b[0] + u * (b[1] + u * b[2]));
        sum += off * off;
    }
    *freedom = (double)(last - first + 1) - 3;
    return *freedom > 0 ? sqrt(sum / *freedom) : 0;
}

/* Fit with the neighbours asked for; with fewer where a quadratic does not follow them as closely as the pulses' own
 * scatter allows (an rms of f degrees of freedom is uncertain by 1 / sqrt(2 f)). */
static bool fit_close(const stretch *s, size_t i, size_t h, double sd, double b[3]) {
    double freedom;
    while (fit_at(s, i, h, false, b)) {
        double off = misfit(s, i, h, b, &freedom);
        double allowed = (1 + 2.5 / sqrt(2 * freedom)) * fmax(sd, 1e-6);
        if (h <= 2) allowed = fmax(4 * sd, LEAST_PITCH * b[1] * span(s, i, h) / 4); /* three average no scatter */
        if (h <= 1 || off <= allowed) return true;
        h -= (h + 4) / 5;
    }
    return false;
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

static lay_status fit_stretch(const stretch *s, wish wanted, knots *k) {
    if (s->count < LAY_PULSES_LEAST || s->t[s->count - 1] - s->t[0] < LAY_PULSES_LEAST_S) return LAY_OK;
    lay_status status =
        lay_grow((void **)&k->out->segment_start, &k->segment_capacity, k->out->segment_count, sizeof(size_t), k->err);
    if (status != LAY_OK) return status;
    size_t first = k->out->count;
    double last_time = -INFINITY, last_turns = -INFINITY;
    for (size_t i = 0; i < s->count && status == LAY_OK; i++) {
        bool end = i == 0 || i + 1 == s->count;
        double b[3];
        if (!end && s->t[i] - last_time < 1 / KNOTS_PER_SECOND) continue;
        if (!fit_close(s, i, reach_at(s, i, wanted), wanted.sd, b) || !(b[1] > 0)) continue;
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

/* Is the residual at i much larger than those of pulses that i has no part in? A curve too quick for a quadratic gives
 * all of them large ones. */
static bool stands_out(const double *r, size_t count, size_t i) {
    double others = 0;
    for (size_t apart = 4; apart <= 5; apart++) {
        if (i >= apart) others = fmax(others, r[i - apart]);
        if (i + apart < count) others = fmax(others, r[i + apart]);
    }
    return r[i] > 3 * others;
}

/* Pulses that lie far off their neighbours' curve (a spike taken for an edge) are left out. */
static size_t drop_outliers(double *t, double *n, size_t count, double sd) {
    const stretch s = {t, n, count};
    double limit = fmax(6 * sd, 1e-5);
    size_t kept = 0;
    double *r = lay_calloc(count + 1, sizeof *r);
    if (!r) return count;
    for (size_t i = 3; i + 3 < count; i++) {
        double b[3];
        r[i] = fit_at(&s, i, 3, true, b) ? fabs(b[0]) : 0;
    }
    for (size_t i = 0, dropped = count; i < count; i++) {
        bool bad = r[i] > limit && stands_out(r, count, i) && (i == 0 || dropped != i - 1);
        if (bad)
            dropped = i;
        else
            t[kept] = t[i], n[kept++] = n[i];
    }
    free(r);
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
        double spacing = s.count > 1 ? (s.n[s.count - 1] - s.n[0]) / (double)(s.count - 1) : 1;
        status = fit_stretch(&s, neighbours_for(sd, spacing), k);
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
