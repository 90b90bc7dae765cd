/* Short spectra scored at candidate speeds: how much stands at all the orders together. */
#ifndef LAYSHAFT_SPEED_SCAN_H
#define LAYSHAFT_SPEED_SCAN_H

#include <layshaft/speed.h>

/* Candidate c turns at low_hz * exp(c * step). */
typedef struct lay_candidates {
    double low_hz, step;
    size_t count;
    const double *orders, *weights; /* borrowed */
    size_t order_count;
} lay_candidates;

/* Evidence for one candidate in one frame: of all orders, and of the strongest among them. */
typedef struct lay_score {
    float sum, best;
} lay_score;

typedef struct lay_peak {
    float hz, ratio; /* place; height over the local noise, in power */
} lay_peak;

#define LAY_SCAN_PEAKS 32

typedef struct lay_scan {
    double rate;
    size_t n, hop, bins, filled;
    double *x, *window, *windowed, *pairs, *ratio, *floor;
    lay_fft *fft;
    /* kept per frame, each the mean of `every` spectra; frame f is centred at (n/2 + hop * (every (f + 1/2) - 1/2)) /
     * rate */
    lay_score *score; /* [frames * candidates] */
    lay_peak *peaks;  /* [frames * LAY_SCAN_PEAKS], of the last spectrum; ratio 0 ends the list */
    size_t frames, capacity, every, pending;
} lay_scan;

/* Spectra of `n` points, half overlapped. */
lay_status lay_scan_init(lay_scan *scan, double rate, size_t n, const lay_candidates *candidates, lay_error *err);
void lay_scan_free(lay_scan *scan);
/* One sample more; NaN and infinities count as 0. */
lay_status lay_scan_put(lay_scan *scan, const lay_candidates *candidates, double x, lay_error *err);
/* At the end: when no frame is complete yet, make one of what is there. */
lay_status lay_scan_finish(lay_scan *scan, const lay_candidates *candidates, lay_error *err);
double lay_scan_time(const lay_scan *scan, double frame);

#endif
