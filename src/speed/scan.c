#include "scan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Each bin counts by the logarithm of the likelihood ratio between "a line of unknown height stands here" and "noise":
 * r - 1 - ln r for a bin r times its noise mean (exponential law, derived here), at most MOST_EVIDENCE so that one loud
 * line cannot outvote all others. */

#define MOST_EVIDENCE 8.0
#define FLOOR_BINS 61
#define FIRST_BIN 3
#define PEAK_RATIO 10.0 /* chance of noise: e^-10 */
#define WIDEST_CELL 2.5 /* bins: where candidates lie further apart than a line is wide, they would miss it */
#define MOST_CELLS 4000000u

lay_status lay_scan_init(lay_scan *scan, double rate, size_t n, const lay_candidates *candidates, lay_error *err) {
    (void)candidates;
    *scan = (lay_scan){.rate = rate, .n = n, .hop = n / 2, .bins = n / 2 + 1, .every = 1};
    scan->x = lay_calloc(n, sizeof *scan->x);
    scan->window = lay_calloc(n, sizeof *scan->window);
    scan->windowed = lay_calloc(n, sizeof *scan->windowed);
    scan->pairs = lay_calloc(n + 2, sizeof *scan->pairs);
    scan->ratio = lay_calloc(scan->bins + 1, sizeof *scan->ratio);
    scan->floor = lay_calloc(scan->bins + 1, sizeof *scan->floor);
    if (!scan->x || !scan->window || !scan->windowed || !scan->pairs || !scan->ratio || !scan->floor)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_window_fill(LAY_WINDOW_HANN, scan->window, n);
    return lay_fft_new(n, &scan->fft, err);
}

void lay_scan_free(lay_scan *scan) {
    free(scan->x);
    free(scan->window);
    free(scan->windowed);
    free(scan->pairs);
    free(scan->ratio);
    free(scan->floor);
    free(scan->score);
    free(scan->peaks);
    lay_fft_free(scan->fft);
    *scan = (lay_scan){0};
}

double lay_scan_time(const lay_scan *scan, double frame) {
    double spectrum = (double)scan->every * (frame + 0.5) - 0.5;
    return ((double)scan->n / 2 + (double)scan->hop * spectrum) / scan->rate;
}

/* ---- one spectrum ---- */

/* Power over the mean of the noise about it; the median of an exponential law is ln 2 of its mean. */
static lay_status whiten(lay_scan *scan, lay_error *err) {
    for (size_t i = 0; i < scan->n; i++) scan->windowed[i] = scan->x[i] * scan->window[i];
    lay_fft_forward(scan->fft, scan->windowed, scan->pairs);
    for (size_t i = 0; i < scan->bins; i++)
        scan->ratio[i] = scan->pairs[2 * i] * scan->pairs[2 * i] + scan->pairs[2 * i + 1] * scan->pairs[2 * i + 1];
    lay_status status = lay_running_quantile(scan->ratio, scan->bins, FLOOR_BINS, 0.5, scan->floor, err);
    for (size_t i = 0; i < scan->bins && status == LAY_OK; i++)
        scan->ratio[i] = i >= FIRST_BIN && scan->floor[i] > 0 ? scan->ratio[i] * log(2.0) / scan->floor[i] : 0;
    return status;
}

static void insert_peak(lay_peak *list, lay_peak peak) {
    size_t i = LAY_SCAN_PEAKS;
    for (; i > 0 && list[i - 1].ratio < peak.ratio; i--)
        if (i < LAY_SCAN_PEAKS) list[i] = list[i - 1];
    if (i < LAY_SCAN_PEAKS) list[i] = peak;
}

/* Offset from the two largest bins of a Hann window: (2 r - 1) / (r + 1) for amplitudes (Grandke, IEEE Trans. Instrum.
 * Meas. 32 (1983) 350; value from memory of that work). */
static void list_peaks(const lay_scan *scan, lay_peak *list) {
    memset(list, 0, LAY_SCAN_PEAKS * sizeof *list);
    for (size_t i = FIRST_BIN + 1; i + 1 < scan->bins; i++) {
        double here = scan->ratio[i], left = scan->ratio[i - 1], right = scan->ratio[i + 1];
        if (here < PEAK_RATIO || here < left || here <= right || here <= list[LAY_SCAN_PEAKS - 1].ratio) continue;
        double r = sqrt(fmax(left, right) / here), offset = fmax(0, (2 * r - 1) / (r + 1));
        double at = (double)i + (right > left ? offset : -offset);
        insert_peak(list, (lay_peak){(float)(at * scan->rate / (double)scan->n), (float)here});
    }
}

/* ---- scores ---- */

static void add_order(const lay_scan *scan, const lay_candidates *c, double order, double weight, lay_score *row) {
    double growth = exp(c->step), at = order * c->low_hz * (double)scan->n / scan->rate;
    double share = 1.0 / (double)scan->every, last = (double)scan->bins - 2;
    for (size_t k = 0; k < c->count && at < last; k++, at *= growth) {
        if (at < FIRST_BIN || at * c->step > WIDEST_CELL) continue;
        size_t i = (size_t)at;
        double part = at - (double)i, found = (1 - part) * scan->floor[i] + part * scan->floor[i + 1];
        float value = (float)(share * weight * found);
        row[k].sum += value;
        if (value > row[k].best) row[k].best = value;
    }
}

static void score(lay_scan *scan, const lay_candidates *c, lay_score *row) {
    for (size_t i = 0; i < scan->bins; i++) { /* the floor has done its service: its room holds the evidence */
        double r = scan->ratio[i];
        scan->floor[i] = r > 1 ? fmin(r - 1 - log(r), MOST_EVIDENCE) : 0;
    }
    for (size_t k = 0; k < c->order_count; k++) add_order(scan, c, c->orders[k], c->weights[k], row);
}

/* Very long recordings: two frames become one. */
static void merge(lay_scan *scan, size_t count) {
    for (size_t f = 0; f < scan->frames / 2; f++) {
        const lay_score *a = scan->score + 2 * f * count, *b = a + count;
        for (size_t k = 0; k < count; k++)
            scan->score[f * count + k] = (lay_score){0.5f * (a[k].sum + b[k].sum), 0.5f * (a[k].best + b[k].best)};
        memmove(scan->peaks + f * LAY_SCAN_PEAKS, scan->peaks + (2 * f + 1) * LAY_SCAN_PEAKS,
                LAY_SCAN_PEAKS * sizeof *scan->peaks);
    }
    scan->frames /= 2;
    scan->every *= 2;
}

static lay_status make_room(lay_scan *scan, size_t count, lay_error *err) {
    if (scan->frames >= 64 && scan->frames % 2 == 0 && scan->frames * count >= MOST_CELLS) merge(scan, count);
    if (scan->frames < scan->capacity) return LAY_OK;
    size_t capacity = scan->capacity ? 2 * scan->capacity : 32;
    lay_score *scores = realloc(scan->score, capacity * count * sizeof *scores);
    if (scores) scan->score = scores;
    lay_peak *peaks = realloc(scan->peaks, capacity * LAY_SCAN_PEAKS * sizeof *peaks);
    if (peaks) scan->peaks = peaks;
    if (!scores || !peaks) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    scan->capacity = capacity;
    return LAY_OK;
}

static lay_status take_frame(lay_scan *scan, const lay_candidates *c, lay_error *err) {
    lay_status status = scan->pending == 0 ? make_room(scan, c->count, err) : LAY_OK;
    if (status != LAY_OK) return status;
    lay_score *row = scan->score + scan->frames * c->count;
    if (scan->pending == 0) memset(row, 0, c->count * sizeof *row);
    status = whiten(scan, err);
    if (status != LAY_OK) return status;
    list_peaks(scan, scan->peaks + scan->frames * LAY_SCAN_PEAKS);
    score(scan, c, row);
    if (++scan->pending == scan->every) {
        scan->pending = 0;
        scan->frames++;
    }
    return LAY_OK;
}

lay_status lay_scan_put(lay_scan *scan, const lay_candidates *c, double x, lay_error *err) {
    scan->x[scan->filled++] = isfinite(x) ? x : 0;
    if (scan->filled < scan->n) return LAY_OK;
    lay_status status = take_frame(scan, c, err);
    memmove(scan->x, scan->x + scan->hop, (scan->n - scan->hop) * sizeof *scan->x);
    scan->filled = scan->n - scan->hop;
    return status;
}

lay_status lay_scan_finish(lay_scan *scan, const lay_candidates *c, lay_error *err) {
    if (scan->frames > 0 || scan->pending > 0 || scan->filled < 64) return LAY_OK;
    lay_window_fill(LAY_WINDOW_HANN, scan->window, scan->filled);
    memset(scan->x + scan->filled, 0, (scan->n - scan->filled) * sizeof *scan->x);
    return take_frame(scan, c, err);
}
