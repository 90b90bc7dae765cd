/* What is wrong with samples one by one: peak, mean, clipping, drop-outs, values that are no numbers. */
#include "check_samples.h"

#include <math.h>

/* Samples at or above this count as garbage: their squares would overflow. */
static const double largest_number = 1e100;
/* Integer samples that stop here stop at the converter's wall (127/128 of 8 bits is 0.992). */
static const double wall = 0.99;

void lay_samples_start(lay_sample_check *s, double rate) {
    s->min = INFINITY;
    s->max = -INFINITY;
    s->quantum = INFINITY;
    s->top.level = s->bottom.level = -INFINITY;
    s->held = NAN;
    s->least_run = (int64_t)ceil(0.003 * rate);
    if (s->least_run < LAY_DROPOUT_LEAST) s->least_run = LAY_DROPOUT_LEAST;
}

/* ---- sums and extremes ---- */

/* Four sums side by side, because one alone waits for each addition before the next. */
static void add_sums(double shift, const double *x, size_t n, double *sum, double *sum2) {
    double a[4] = {0}, b[4] = {0};
    size_t i = 0;
    for (; i + 4 <= n; i += 4)
        for (size_t j = 0; j < 4; j++) {
            double d = x[i + j] - shift;
            a[j] += d;
            b[j] += d * d;
        }
    for (; i < n; i++) {
        a[0] += x[i] - shift;
        b[0] += (x[i] - shift) * (x[i] - shift);
    }
    *sum += (a[0] + a[1]) + (a[2] + a[3]);
    *sum2 += (b[0] + b[1]) + (b[2] + b[3]);
}

static void extremes(const double *x, size_t n, double *min, double *max) {
    double low[4] = {x[0], x[0], x[0], x[0]}, high[4] = {x[0], x[0], x[0], x[0]};
    size_t i = 0;
    for (; i + 4 <= n; i += 4)
        for (size_t j = 0; j < 4; j++) {
            low[j] = x[i + j] < low[j] ? x[i + j] : low[j];
            high[j] = x[i + j] > high[j] ? x[i + j] : high[j];
        }
    for (; i < n; i++) {
        low[0] = x[i] < low[0] ? x[i] : low[0];
        high[0] = x[i] > high[0] ? x[i] : high[0];
    }
    *min = fmin(fmin(low[0], low[1]), fmin(low[2], low[3]));
    *max = fmax(fmax(high[0], high[1]), fmax(high[2], high[3]));
}

static int64_t silence_garbage(double *x, size_t n) {
    int64_t bad = 0;
    for (size_t i = 0; i < n; i++)
        if (!(fabs(x[i]) < largest_number)) {
            x[i] = 0;
            bad++;
        }
    return bad;
}

static void add_statistics(lay_sample_check *s, double *x, size_t n) {
    double sum = 0, sum2 = 0;
    if (s->count == 0 && fabs(x[0]) < largest_number) s->shift = x[0];
    add_sums(s->shift, x, n, &sum, &sum2);
    int64_t bad = 0;
    if (!(sum2 < largest_number * largest_number)) {
        bad = silence_garbage(x, n);
        sum = sum2 = 0;
        add_sums(s->shift, x, n, &sum, &sum2);
        sum += (double)bad * s->shift; /* take the zeros that stand for garbage out again */
        sum2 -= (double)bad * s->shift * s->shift;
    }
    s->sum += sum;
    s->sum2 += sum2;
    s->bad += bad;
    s->count += (int64_t)n;
}

/* Some of each block is enough to find the step of the converter. */
static void find_quantum(lay_sample_check *s, const double *x, size_t n) {
    for (size_t i = 1; i < n && i < 256; i++) {
        double step = fabs(x[i] - x[i - 1]);
        if (step > 0 && step < s->quantum) s->quantum = step;
    }
}

/* ---- clipping ---- */

/* A smooth peak that rounding makes flat for L samples has the form A (w i)^2 / 2 <= q with i = L / 2, so it falls by
 * at most q (1 + 4 / L) <= 3 q to the next sample. A clipped wave leaves its flat top more steeply. Two equal samples
 * may also lie to either side of a smooth peak, three may not. Derived here. */
static void close_top(lay_flat_tops *t, double after, double quantum) {
    bool steep = after > 6 * quantum;
    if (t->run >= 2) {
        t->flat += t->run;
        t->pairs += steep;
        t->tops += steep && t->run >= 3;
    }
    t->run = 0;
}

/* `sign` -1 looks at the lower side. */
static void feed_tops(lay_flat_tops *t, double sign, double extreme, double quantum, const double *x, size_t n) {
    if (extreme < t->level && t->run == 0) return;
    if (extreme > t->level) *t = (lay_flat_tops){.level = extreme};
    for (size_t i = 0; i < n; i++) {
        double below = t->level - sign * x[i];
        if (below == 0) {
            t->run++;
        } else if (t->run > 0) {
            close_top(t, below, quantum);
        }
    }
}

/* ---- drop-outs ---- */

/* Alive: the mean step over the samples before `run` is above two steps of the converter. */
static bool was_alive(const double *run, double quantum) {
    double sum = 0;
    for (int i = 1; i <= LAY_DROPOUT_BEFORE; i++) sum += fabs(run[-i] - run[-i - 1]);
    return sum > 2 * quantum * LAY_DROPOUT_BEFORE;
}

static void close_run(lay_sample_check *s) {
    bool at_extreme = s->held == s->max || s->held == s->min; /* that is clipping */
    if (s->run >= s->least_run && s->live && !at_extreme) {
        s->dropouts++;
        s->dropped += s->run;
    }
    s->live = false;
}

static void feed_dropouts(lay_sample_check *s, const double *x, size_t n) {
    double held = s->held;
    int64_t run = s->run;
    for (size_t i = 0; i < n; i++) {
        if (x[i] == held) {
            if (++run == LAY_DROPOUT_LEAST) s->live = was_alive(x + i + 1 - LAY_DROPOUT_LEAST, s->quantum);
        } else {
            if (run >= LAY_DROPOUT_LEAST) {
                s->run = run;
                s->held = held;
                close_run(s);
            }
            held = x[i];
            run = 1;
        }
    }
    s->held = held;
    s->run = run;
}

/* ---- all together ---- */

void lay_samples_feed(lay_sample_check *s, double *x, size_t n) {
    if (n == 0) return;
    double min, max;
    add_statistics(s, x, n);
    extremes(x, n, &min, &max);
    find_quantum(s, x, n);
    feed_tops(&s->top, 1, max, s->quantum, x, n);
    feed_tops(&s->bottom, -1, -min, s->quantum, x, n);
    s->min = fmin(s->min, min);
    s->max = fmax(s->max, max);
    feed_dropouts(s, x, n);
}

static bool is_clipped(const lay_flat_tops *t, bool integer) {
    return (integer && t->level >= wall && t->pairs > 0) || t->tops >= 2;
}

void lay_samples_finish(const lay_sample_check *s, double rate, bool integer, lay_channel_check *out) {
    int64_t good = s->count - s->bad;
    out->not_a_number = s->bad;
    out->silent = true;
    if (good <= 0) return;
    double mean = s->sum / (double)good;
    double variance = s->sum2 / (double)good - mean * mean;
    out->dc = s->shift + mean;
    out->rms = sqrt(fmax(variance, 0));
    out->peak = fmax(fabs(s->min), fabs(s->max));
    out->silent = out->peak <= 1e-5 || s->min == s->max;
    out->dropouts = s->dropouts;
    out->dropout_s = (double)s->dropped / rate;
    if (out->silent) return;
    const lay_flat_tops *sides[] = {&s->top, &s->bottom};
    int64_t most = 0;
    for (int i = 0; i < 2; i++) {
        if (!is_clipped(sides[i], integer)) continue;
        out->clipped += sides[i]->flat;
        if (sides[i]->flat > most) out->clip_level = fabs(sides[i]->level);
        if (sides[i]->flat > most) most = sides[i]->flat;
    }
}
