#include "align.h"

#include "comb.h"
#include "gain.h"
#include "peaks.h"
#include "smooth.h"

#include <math.h>
#include <stdlib.h>

#define MOST_LINES 48
#define LEAST_NATS 12.0
#define STEPS 40 /* either way */
#define HEARD 0.7
#define MOST 6.0
#define MOVE_SD 6.0 /* usual change of the correction from frame to frame, in steps */
#define TOLERATED                                                                                                      \
    0.8 /* nats per frame that smoothing may cost: a free correction gains half a nat by chance (chi-square, one       \
         * degree of freedom), a little more where lines are few */

typedef struct bench {
    const lay_warp *warp;
    lay_peak lines[MOST_LINES];
    size_t line_count;
    double range;
    float gains[LAY_GAINS];
} bench;

static double fit(const bench *b, size_t frame, double delta) {
    double sum = 0;
    for (size_t i = 0; i < b->line_count; i++) {
        double r = lay_warp_ratio(b->warp, frame, b->lines[i].order * (1 + delta));
        if (r >= 0) sum += (double)lay_gain(b->gains, (float)r);
    }
    return sum;
}

/* Correction between steps and its weight (1/variance), from the parabola about the path's place. */
static void place(const float *row, size_t at, double step, double *delta, double *weight) {
    size_t i = at < 2 ? 2 : at > 2 * STEPS - 2 ? 2 * STEPS - 2 : at;
    double bend = ((double)row[i - 2] - 2 * (double)row[i] + (double)row[i + 2]) / 4;
    double slope = ((double)row[i + 2] - (double)row[i - 2]) / 4, shift = bend < -1e-3 ? -slope / bend : 0;
    *delta = ((double)i - STEPS + fmax(-2, fmin(2, shift))) * step;
    *weight = fmax(-bend, 1e-3) / (step * step);
}

static double total_fit(const bench *b, const double *delta) {
    double sum = 0;
    for (size_t f = 0; f < b->warp->frames; f++) sum += fit(b, f, delta[f]);
    return sum;
}

/* The smoothest course that costs next to nothing of the fit: bends are second derivatives of log speed, 1/s^2. */
static lay_status smooth(const bench *b, const double *weight, double *delta, lay_error *err) {
    static const double bends[] = {0.001, 0.005, 0.02, 0.08, 0.3};
    enum { BENDS = sizeof bends / sizeof bends[0] };
    size_t n = b->warp->frames;
    double *tries = lay_calloc(BENDS * n, sizeof *tries), fits[BENDS], best = -1e300;
    if (!tries) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = LAY_OK;
    for (size_t k = 0; k < BENDS && status == LAY_OK; k++) {
        double unit = bends[k] * b->warp->hop_s * b->warp->hop_s;
        status = lay_smooth(delta, weight, n, 2, 1 / (unit * unit), tries + k * n, err);
        if (status != LAY_OK) break;
        fits[k] = total_fit(b, tries + k * n);
        best = fmax(best, fits[k]);
    }
    for (size_t k = 0; k < BENDS && status == LAY_OK; k++) {
        if (fits[k] < best - TOLERATED * (double)n) continue;
        for (size_t f = 0; f < n; f++) delta[f] = tries[k * n + f];
        break;
    }
    free(tries);
    return status;
}

static void measure_seen(const bench *b, const double *delta, double *seen) {
    double sum = 0;
    for (size_t f = 0; f < b->warp->frames; f++) sum += seen[f] = fit(b, f, delta[f]);
    double mean = sum / (double)b->warp->frames;
    for (size_t f = 0; f < b->warp->frames; f++) seen[f] = mean > 0 ? seen[f] / mean : 0;
}

static lay_status correct(const bench *b, double *log_hz, double *seen, double *found, lay_error *err) {
    size_t frames = b->warp->frames, width = 2 * STEPS + 1;
    double step = b->range / STEPS;
    float *score = lay_calloc(frames * width, sizeof *score);
    size_t *path = lay_calloc(frames, sizeof *path);
    double *delta = lay_calloc(2 * frames, sizeof *delta), *weight = delta + frames;
    lay_status status = LAY_OK;
    if (!score || !path || !delta) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    for (size_t f = 0; f < frames; f++)
        for (size_t k = 0; k < width; k++) score[f * width + k] = (float)fit(b, f, ((double)k - STEPS) * step);
    status = lay_path_find(score, frames, width, width, NULL, MOVE_SD, path, NULL, err);
    for (size_t f = 0; f < frames && status == LAY_OK; f++)
        place(score + f * width, path[f], step, &delta[f], &weight[f]);
    if (status == LAY_OK) status = smooth(b, weight, delta, err);
    for (size_t f = 0; f < frames && status == LAY_OK; f++) log_hz[f] += delta[f];
    if (status == LAY_OK) *found = total_fit(b, delta);
    if (status == LAY_OK) measure_seen(b, delta, seen);
done:
    free(score);
    free(path);
    free(delta);
    return status;
}

lay_status lay_align(const lay_warp *warp, const lay_profile *profile, double range, double *log_hz, double *seen,
                     double *found, lay_error *err) {
    bench b = {.warp = warp, .range = range};
    for (size_t f = 0; f < warp->frames; f++) {
        log_hz[f] = log(fmax(warp->hz[f], 1e-9));
        seen[f] = 1;
    }
    *found = 0;
    if (warp->frames == 0) return LAY_OK;
    lay_gains_fill(HEARD, MOST, b.gains);
    lay_status status = lay_peaks_find(profile, LEAST_NATS, MOST_LINES, b.lines, &b.line_count, err);
    return status == LAY_OK && b.line_count > 0 ? correct(&b, log_hz, seen, found, err) : status;
}
