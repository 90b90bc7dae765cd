#include "align.h"

#include "comb.h"
#include "smooth.h"

#include <math.h>
#include <stdlib.h>

#define MOST_LINES 48
#define APART 6 /* points of the profile between two lines: main lobe of Hann is 16 wide */
#define LEAST_NATS 12.0
#define LEAST_BIN 4.0
#define STEPS 40 /* either way */
#define KAPPA 0.1
#define HEARD 0.7
#define MOST 6.0
#define GAINS 512
#define GAINS_PER_UNIT 16.0
#define MOVE_SD 6.0 /* usual change of the correction from frame to frame, in steps */
#define TOLERATED                                                                                                      \
    0.8 /* nats per frame that smoothing may cost: a free correction gains half a nat by chance (chi-square, one       \
         * degree of freedom), a little more where lines are few */

typedef struct line {
    double order, nats;
} line;

typedef struct bench {
    const lay_warp *warp;
    line lines[MOST_LINES];
    size_t line_count;
    double range;
    float gain[GAINS]; /* evidence of a ratio i / GAINS_PER_UNIT */
} bench;

/* Log likelihood ratio of a mean of n ratios being `mean` times the noise, against noise. */
static double evidence_of(double mean, double n) {
    return mean > 1 ? n * (mean - 1 - log(mean)) : 0;
}

static int by_nats(const void *a, const void *b) {
    double x = ((const line *)a)->nats, y = ((const line *)b)->nats;
    return (x < y) - (x > y);
}

static bool is_peak(const lay_profile *p, size_t i) {
    for (size_t k = 1; k <= APART; k++)
        if (p->mean[i - k] >= p->mean[i] || p->mean[i + k] > p->mean[i]) return false;
    return true;
}

static lay_status find_lines(bench *b, const lay_profile *p, lay_error *err) {
    double mean_hz = 0.25 * b->warp->bin_hz / p->step; /* step is a quarter of a bin at mean speed */
    size_t first = (size_t)(LEAST_BIN * b->warp->bin_hz / mean_hz / p->step) + APART, count = 0;
    line *all = lay_calloc(p->count + 1, sizeof *all);
    if (!all) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t i = first; i + APART < p->count; i++) {
        double nats = evidence_of((double)p->mean[i], 0.5 * (double)p->frames[i]); /* frames overlap by half */
        if (nats < LEAST_NATS || !is_peak(p, i)) continue;
        double left = (double)p->mean[i - 1], right = (double)p->mean[i + 1], top = (double)p->mean[i];
        double bend = left - 2 * top + right, shift = bend < 0 ? 0.5 * (left - right) / bend : 0;
        all[count++] = (line){((double)i + shift) * p->step, nats};
    }
    qsort(all, count, sizeof *all, by_nats);
    b->line_count = count < MOST_LINES ? count : MOST_LINES;
    for (size_t i = 0; i < b->line_count; i++) b->lines[i] = all[i];
    free(all);
    return LAY_OK;
}

static void fill_gains(bench *b) {
    for (size_t i = 0; i < GAINS; i++) {
        double r = (double)i / GAINS_PER_UNIT;
        b->gain[i] = (float)fmin(log(1 - HEARD + HEARD * KAPPA * exp((1 - KAPPA) * r)), MOST);
    }
}

static double fit(const bench *b, size_t frame, double delta) {
    double sum = 0;
    for (size_t i = 0; i < b->line_count; i++) {
        double r = lay_warp_ratio(b->warp, frame, b->lines[i].order * (1 + delta));
        if (r >= 0) sum += (double)b->gain[(size_t)fmin(r * GAINS_PER_UNIT, GAINS - 1)];
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

static lay_status correct(const bench *b, double *log_hz, double *sd, double *seen, double *found, lay_error *err) {
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
    for (size_t f = 0; f < frames && status == LAY_OK; f++) {
        log_hz[f] += delta[f];
        sd[f] = 1 / sqrt(weight[f]);
    }
    if (status == LAY_OK) *found = total_fit(b, delta);
    if (status == LAY_OK && seen) measure_seen(b, delta, seen);
done:
    free(score);
    free(path);
    free(delta);
    return status;
}

lay_status lay_align(const lay_warp *warp, const lay_profile *profile, double range, double *log_hz, double *sd,
                     double *seen, double *found, lay_error *err) {
    bench b = {.warp = warp, .range = range};
    for (size_t f = 0; f < warp->frames; f++) {
        log_hz[f] = log(fmax(warp->hz[f], 1e-9));
        sd[f] = range;
        if (seen) seen[f] = 1;
    }
    *found = 0;
    if (warp->frames == 0 || profile->count < 4 * APART) return LAY_OK;
    fill_gains(&b);
    lay_status status = find_lines(&b, profile, err);
    return status == LAY_OK && b.line_count > 0 ? correct(&b, log_hz, sd, seen, found, err) : status;
}
