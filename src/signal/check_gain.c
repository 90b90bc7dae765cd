/* Automatic gain: the whole spectrum jumps by the same number of dB, again and again.
 *
 * A change of load or speed changes the spectrum's form, a change of gain moves every octave alike. A jump counts when
 * the background level (lower quintile of short blocks) in every octave is steady for 0.6 s, moves within 0.1 s by
 * more than 4 dB, by the same amount everywhere, and is steady again. The thresholds are choices of this program,
 * no published source: they miss gentle gain control rather than accuse a sound recording. */
#include "check_gain.h"

#include <math.h>
#include <string.h>

static const double least_jump_db = 4, most_spread_db = 2, most_drift_db = 1.5;
static const double nothing_db = -250; /* digital silence */
static const int least_jumps = 3;

/* q-th smallest of a few numbers, q from 0. */
static double order_statistic(const double *x, int n, int q) {
    double sorted[LAY_GAIN_SIDE];
    for (int i = 0; i < n; i++) {
        int j = i;
        for (; j > 0 && sorted[j - 1] > x[i]; j--) sorted[j] = sorted[j - 1];
        sorted[j] = x[i];
    }
    return sorted[q];
}

/* The background level of one side; false when it drifts, or when there is nothing. */
static bool side_level(const lay_gain_check *g, int64_t first, int band, double *out) {
    double x[LAY_GAIN_SIDE];
    enum { HALF = LAY_GAIN_SIDE / 2 };
    for (int i = 0; i < LAY_GAIN_SIDE; i++) x[i] = g->level[(first + i) % LAY_GAIN_SPAN][band];
    double early = order_statistic(x, HALF, HALF / 2), late = order_statistic(x + HALF, HALF, HALF / 2);
    *out = order_statistic(x, LAY_GAIN_SIDE, LAY_GAIN_SIDE / 5);
    return fabs(late - early) <= most_drift_db && *out > nothing_db;
}

/* Size of the jump in the middle of the ring, 0 when there is none. */
static double jump_db(const lay_gain_check *g) {
    double low = INFINITY, high = -INFINITY;
    int64_t oldest = g->blocks - LAY_GAIN_SPAN;
    for (int band = 0; band < LAY_GAIN_BANDS; band++) {
        double before, after;
        if (!side_level(g, oldest, band, &before)) return 0;
        if (!side_level(g, oldest + LAY_GAIN_SIDE + LAY_GAIN_GAP, band, &after)) return 0;
        low = fmin(low, after - before);
        high = fmax(high, after - before);
    }
    double least = low > 0 ? low : high < 0 ? -high : 0;
    return least > least_jump_db && high - low < most_spread_db ? least : 0;
}

void lay_gain_feed(lay_gain_check *g, const double power[LAY_GAIN_BANDS]) {
    double *level = g->level[g->blocks % LAY_GAIN_SPAN];
    for (int band = 0; band < LAY_GAIN_BANDS; band++) level[band] = 10 * log10(power[band] + 1e-30);
    g->blocks++;
    if (g->blocks < LAY_GAIN_SPAN) return;
    double jump = jump_db(g);
    if (jump <= 0) return;
    if (g->jumps == 0 || g->blocks - g->last_jump >= LAY_GAIN_SIDE) g->jumps++; /* else the same one, one block on */
    g->last_jump = g->blocks;
    g->largest = fmax(g->largest, jump);
}

double lay_gain_finish(const lay_gain_check *g) {
    return g->jumps >= least_jumps ? g->largest : 0;
}
