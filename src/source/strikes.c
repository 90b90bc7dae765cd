#include "strike_view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* How plainly a series of lines stands in one run's envelope spectra. */

#define ALONE_DB 12.0 /* a line so much stronger than the second best of its series counts no more */
#define OFF_DB 2.0
#define SPREAD 0.001 /* lines of what slips widen by this share of their order, times their number */

#define LOCKED_LEAST 4    /* lines that must be known */
#define LOCKED_SHARE 0.75 /* nearly all lines must be there */
#define SMOOTH_DB 8.0
#define LOCKED_DB 20.0 /* a stronger line of many is no better proof */

double lay_strike_weight(int k) {
    static const double weights[] = {1, 0.7, 0.5};
    return k >= 1 && k <= LAY_STRIKE_RING_LINES ? weights[k - 1] : 0;
}

/* Highest of the bins around the place where the line should be: at the edge it counts OFF_DB less. */
static double highest_near(const float *row, size_t bins, double at, double half) {
    ptrdiff_t low = (ptrdiff_t)floor(at - half + 0.5), high = (ptrdiff_t)floor(at + half + 0.5);
    double best = 0;
    if (low < 1) low = 1;
    for (ptrdiff_t i = low; i <= high && i < (ptrdiff_t)bins; i++) {
        double off = ((double)i - at) / (half + 0.5);
        best = fmax(best, row[i] - OFF_DB * off * off);
    }
    return best;
}

/* How many lines of the series lie inside the spectra; 0 when it cannot be looked for. */
static int lines_inside(const lay_strikes *s, lay_strike_series series, double order) {
    static const int most[] = {[LAY_STRIKE_RING] = LAY_STRIKE_RING_LINES,
                               [LAY_STRIKE_CAGE] = 8,
                               [LAY_STRIKE_SWING] = 8,
                               [LAY_STRIKE_LOCKED] = 16};
    const lay_envelope_spectrum *e = &s->run->envelope;
    double top = (double)(e->bins - 4) * e->step;
    if (!(order >= 5 * e->step) || order > top) return 0;
    top = fmin(top, fmax(order, e->reach_hz / s->run->mean_hz));
    return (int)fmin(most[series], floor(1.001 * top / order));
}

/* Weighted sum of the levels as if all lines of a full series were inside; one line alone is no series. */
static double ring_score(const double *level, int lines) {
    double sum = 0, weights = 0, first = 0, second = 0;
    for (int k = 0; k < lines; k++)
        if (level[k] > first)
            second = first, first = level[k];
        else
            second = fmax(second, level[k]);
    for (int k = 0; k < lines; k++) {
        sum += lay_strike_weight(k + 1) * fmin(level[k], second + ALONE_DB);
        weights += lay_strike_weight(k + 1);
    }
    return LAY_STRIKE_WEIGHTS * sum / weights;
}

/* What swings is smooth: its fifth to eighth multiples lie well below the strongest of the first, those of blows do
 * not. */
static double swing_score(const double *level, int lines) {
    if (lines < 8) return 0;
    double late[] = {level[4], level[5], level[6], level[7]};
    double first = fmax(level[0], fmax(level[1], level[2]));
    return fmax(0, ring_score(level, LAY_STRIKE_RING_LINES) - 3 * fmax(0, lay_median(late, 4) + SMOOTH_DB - first));
}

static double cage_score(const double *level, int lines) {
    double sum = 0;
    for (int k = 0; k < lines; k++) sum += fmin(level[k], LOCKED_DB) / lines;
    return sum;
}

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Mean of the lower part: swinging tones make the first lines, other shafts every second. */
static double lower_mean(double *x, size_t n) {
    size_t kept = (size_t)ceil(LOCKED_SHARE * (double)n);
    qsort(x, n, sizeof *x, rising);
    return lay_mean(x, kept);
}

static double locked_score(const double *level, int lines) {
    double known[LAY_STRIKE_LINES];
    size_t count = 0;
    for (int k = 0; k < lines; k++)
        if (!isnan(level[k])) known[count++] = fmin(LOCKED_DB, level[k]);
    return count >= LOCKED_LEAST ? lower_mean(known, count) : 0;
}

/* Level at line n of the series of `order`: in the synchronous average over that turn where there is one, or in the
 * mean of the segments, whichever shows more; without a tach the angle may be lost over the length of a run. */
static double exact_level(const lay_strikes *s, size_t band, double order, int n) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    double level = lay_strike_highest(s->raw + band * e->bins, e->bins, n * order / e->step, 0.75);
    for (size_t l = 0; l < e->locked_count && n <= LAY_LOCKED_LINES; l++) {
        if (fabs(e->locked[l] - order) > 1e-6) continue;
        double ratio = e->lines[(l * e->band_count + band) * LAY_LOCKED_LINES + (size_t)n - 1].ratio;
        return fmin(LAY_STRIKE_MOST_DB, fmax(level, 10 * log10(fmax(1e-6, ratio))));
    }
    return level;
}

/* What the series of `comb` makes at line n of the series of `order`, by those of its lines around that are not in
 * both. */
static double made_by(const lay_strikes *s, size_t band, double comb, double order, int n, double near) {
    double others[4], at = n * order;
    int m = (int)lround(at / comb);
    size_t count = 0;
    if (m < 1 || fabs(at - m * comb) > near || fabs(comb - order) < 1e-6) return 0;
    for (int d = -2; d <= 2; d++) {
        double x = (m + d) * comb;
        if (d == 0 || m + d < 1 || fabs(x - order * round(x / order)) < near) continue;
        others[count++] = exact_level(s, band, comb, m + d);
    }
    return lay_strike_allowed(others, count);
}

/* Level of line n of a series locked to a body, what finer series explain taken off; NaN where the engine's own strikes
 * may be as strong. */
static double locked_level(const lay_strikes *s, size_t band, double order, int n) {
    double at = n * order, near = LAY_STRIKE_EXACT_BINS * s->run->envelope.step + 1e-4 * at, made = 0,
           firing = s->combs.firing;
    if (firing > 0 && fabs(at - firing * round(at / firing)) < near) return NAN;
    for (size_t c = 0; c < s->combs.count; c++) made = fmax(made, made_by(s, band, s->combs.order[c], order, n, near));
    return lay_strike_rest(exact_level(s, band, order, n), made);
}

static double score_at(const lay_strikes *s, lay_strike_series series, double order, int lines, size_t band,
                       double *level) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    const float *own = s->own + (s->first + band) * e->bins;
    double first = order / e->step;
    if (series == LAY_STRIKE_LOCKED) {
        for (int k = 1; k <= lines; k++) level[k - 1] = locked_level(s, s->first + band, order, k);
        return locked_score(level, lines);
    }
    for (int k = 1; k <= lines; k++)
        level[k - 1] = highest_near(own, e->bins, k * first, 0.75 + SPREAD * k * k * first);
    if (series == LAY_STRIKE_SWING) return swing_score(level, lines);
    return series == LAY_STRIKE_RING ? ring_score(level, lines) : cage_score(level, lines);
}

bool lay_strike_scores(const lay_strikes *s, lay_strike_series series, double order, double low, double step,
                       size_t points, float *out) {
    double level[LAY_STRIKE_LINES];
    size_t bands = lay_strikes_band_count(s);
    bool any = false;
    memset(out, 0, bands * points * sizeof *out);
    for (size_t i = 0; i < points; i++) {
        double at = order * (1 + low + step * (double)i);
        int lines = lines_inside(s, series, at);
        for (size_t b = 0; b < bands && lines > 0; b++)
            out[b * points + i] = (float)score_at(s, series, at, lines, b, level);
        any = any || lines > 0;
    }
    return any;
}

static double side_level(const lay_strikes *s, double order, double side, size_t band) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    const float *row = s->own + (s->first + band) * e->bins;
    double sum = 0;
    for (int k = 1; k <= 2; k++)
        for (int n = -1; n <= 1; n += 2)
            sum +=
                lay_strike_highest(row, e->bins, (k * order + n * side) / e->step, 0.75 + SPREAD * k * order / e->step);
    return sum / 4;
}

void lay_strike_at(const lay_strikes *s, lay_strike_series series, double order, double slip, size_t band, double side,
                   lay_strike *out) {
    *out = (lay_strike){.band = -1};
    int lines = lines_inside(s, series, order * (1 + slip));
    if (lines == 0 || band >= lay_strikes_band_count(s)) return;
    out->valid = true;
    out->lines = lines;
    out->band = (int)(s->first + band);
    out->slip = slip;
    out->score = score_at(s, series, order * (1 + slip), lines, band, out->level_db);
    if (side > 0) out->side_db = side_level(s, order * (1 + slip), side, band);
}
