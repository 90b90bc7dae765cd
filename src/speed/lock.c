#include "lock.h"

#include "smooth.h"

#include <math.h>
#include <stdlib.h>

/* Each spectral peak near an order of the path is a measurement of the speed: ln(f / order). Orders are first asked one
 * by one for their common offset; those that contradict the heaviest group (a foreign tone near an order, a slipping
 * bearing) have no say. The rest are weighted by their precision and smoothed over time with the stiffness that real
 * shafts have. */

#define PLACE_SD 0.03   /* bins: what the place of even a strong peak is uncertain by */
#define GROUP_SD 2.5e-4 /* relative spread within a group that agrees */
#define SAMPLES 4000    /* measurements of one order looked at for its offset */

typedef struct measurement {
    double offset, weight; /* of log speed from the path; 1 / variance */
} measurement;

typedef struct track {
    const lay_scan *scan;
    const lay_scan *path_scan;
    const double *log_hz;
    size_t frames;
} track;

/* Log speed of the path, and how much it changes within one spectrum, at a frame of a scan. */
static double path_at(const track *t, size_t frame, double *change) {
    const lay_scan *p = t->path_scan;
    double hop = (double)(p->hop * p->every) / p->rate, half = 0.25 * (double)t->scan->n / t->scan->rate;
    double middle = (lay_scan_time(t->scan, (double)frame) - lay_scan_time(p, 0)) / hop, value[3];
    for (int k = 0; k < 3; k++) {
        double at = fmax(0, fmin(middle + (k - 1) * half / hop, (double)t->frames - 1));
        size_t i = (size_t)at < t->frames - 1 ? (size_t)at : (t->frames > 1 ? t->frames - 2 : 0);
        size_t j = i + 1 < t->frames ? i + 1 : i;
        value[k] = t->log_hz[i] + (at - (double)i) * (t->log_hz[j] - t->log_hz[i]);
    }
    *change = fabs(value[2] - value[0]);
    return value[1];
}

/* The strongest peak of a frame near an order; false when there is none. */
static bool measure(const track *t, const lay_candidates *c, size_t frame, double order, measurement *m) {
    double change, log_hz = path_at(t, frame, &change), bin = t->scan->rate / (double)t->scan->n;
    double expected = order * exp(log_hz), reach = fmax(1.5 * bin, 2.5 * c->step * expected);
    const lay_peak *peaks = t->scan->peaks + frame * LAY_SCAN_PEAKS;
    for (size_t i = 0; i < LAY_SCAN_PEAKS && peaks[i].ratio > 0; i++) {
        if (fabs((double)peaks[i].hz - expected) > reach) continue;
        double sd = bin * (PLACE_SD + 0.4 / sqrt((double)peaks[i].ratio)) / expected + 0.3 * change;
        *m = (measurement){log((double)peaks[i].hz / order) - log_hz, 1 / (sd * sd)};
        return true;
    }
    return false;
}

/* Median offset of one order over both scans and what it may say in the vote. */
static void ask_order(const track *tracks, size_t scans, const lay_candidates *c, size_t k, double *scratch,
                      measurement *out) {
    size_t n = 0;
    double weight = 0;
    *out = (measurement){0};
    for (size_t s = 0; s < scans; s++)
        for (size_t f = 0; f < tracks[s].scan->frames && n < SAMPLES; f++) {
            measurement m;
            if (!measure(&tracks[s], c, f, c->orders[k], &m)) continue;
            scratch[n++] = m.offset;
            weight += m.weight;
        }
    if (n == 0) return;
    double sd = sqrt((double)n / weight / (double)n); /* of the mean, if the frames were independent */
    out->offset = lay_median(scratch, n);
    out->weight = c->weights[k] * (double)n / (1 + sd / GROUP_SD);
}

static double vote_at(const measurement *votes, size_t n, double offset) {
    double sum = 0;
    for (size_t k = 0; k < n; k++) {
        double z = (votes[k].offset - offset) / GROUP_SD;
        sum += votes[k].weight * exp(-0.5 * z * z);
    }
    return sum;
}

static double heaviest_group(const measurement *votes, size_t n) {
    double best = 0, most = -1;
    for (size_t k = 0; k < n; k++) {
        double value = votes[k].weight > 0 ? vote_at(votes, n, votes[k].offset) : 0;
        if (value > most) {
            most = value;
            best = votes[k].offset;
        }
    }
    return best;
}

/* Add the measurements of the orders that agree to the frames of the path they fall in. */
static void collect(const track *t, const lay_candidates *c, const measurement *votes, double offset, double *sum,
                    double *weight) {
    const lay_scan *p = t->path_scan;
    double hop = (double)(p->hop * p->every) / p->rate;
    for (size_t f = 0; f < t->scan->frames; f++) {
        double at = round((lay_scan_time(t->scan, (double)f) - lay_scan_time(p, 0)) / hop);
        if (!(at >= 0 && at < (double)t->frames)) continue;
        for (size_t k = 0; k < c->order_count; k++) {
            measurement m;
            if (votes[k].weight <= 0 || fabs(votes[k].offset - offset) > 4 * GROUP_SD) continue;
            if (!measure(t, c, f, c->orders[k], &m)) continue;
            double share = m.weight * fmin(1, c->weights[k]);
            sum[(size_t)at] += share * m.offset;
            weight[(size_t)at] += share;
        }
    }
}

/* Frames without a measurement lean lightly on the path moved by the common offset. */
static lay_status settle(const lay_scan *p, size_t frames, double offset, double step, double bend, const double *sum,
                         double *weight, double *log_hz, lay_error *err) {
    double hop = (double)(p->hop * p->every) / p->rate, change = bend * hop * hop;
    for (size_t f = 0; f < frames; f++) {
        double lean = 0.01 / (step * step);
        log_hz[f] += (sum[f] + lean * offset) / (weight[f] + lean);
        weight[f] += lean;
    }
    return lay_smooth(log_hz, weight, frames, 2, 1 / (change * change), log_hz, err);
}

lay_status lay_lock(const lay_scan *brief, const lay_scan *steady, const lay_candidates *c, double bend, double *log_hz,
                    lay_error *err) {
    size_t frames = brief->frames, scans = steady ? 2 : 1;
    track tracks[2] = {{brief, brief, log_hz, frames}, {steady, brief, log_hz, frames}};
    lay_status status = LAY_OK;
    double *scratch = lay_calloc(SAMPLES, sizeof *scratch), *sum = lay_calloc(2 * frames, sizeof *sum);
    measurement *votes = lay_calloc(c->order_count, sizeof *votes);
    if (!scratch || !sum || !votes) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    for (size_t k = 0; k < c->order_count; k++) ask_order(tracks, scans, c, k, scratch, &votes[k]);
    double offset = heaviest_group(votes, c->order_count);
    for (size_t s = 0; s < scans; s++) collect(&tracks[s], c, votes, offset, sum, sum + frames);
    status = settle(brief, frames, offset, c->step, bend, sum, sum + frames, log_hz, err);
done:
    free(scratch);
    free(sum);
    free(votes);
    return status;
}
