#include "chapter.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>

#define HALF_BINS 10.0 /* least half-width of the neighbourhood */
#define HALF_HZ 25.0
#define HALF_SHARE 0.10 /* of the frequency */
#define MOST_SAMPLES 48 /* bins looked at in a neighbourhood */
#define QUANTILE 0.4    /* below the median: lines may fill a good part of the neighbourhood */

static double half_width(const lay_whitener *w, size_t bin) {
    double hz = (double)bin * w->bin_hz;
    return fmax(HALF_BINS, fmax(HALF_HZ, HALF_SHARE * hz) / w->bin_hz);
}

lay_status lay_whitener_init(lay_whitener *w, size_t bins, double bin_hz, lay_error *err) {
    *w = (lay_whitener){.bins = bins, .bin_hz = bin_hz};
    size_t most = bins / 4 + 2;
    w->knot = lay_calloc(3 * most, sizeof *w->knot);
    w->level = lay_calloc(most, sizeof *w->level);
    w->scratch = lay_calloc(bins + 1, sizeof *w->scratch);
    if (!w->knot || !w->level || !w->scratch) {
        lay_whitener_free(w);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    }
    w->low = w->knot + most;
    w->high = w->low + most;
    for (double at = 0; at < (double)bins && w->knots < most; w->knots++) {
        size_t bin = (size_t)at, half = (size_t)half_width(w, bin);
        w->knot[w->knots] = bin;
        w->low[w->knots] = bin > half ? bin - half : 1;
        w->high[w->knots] = bin + half < bins ? bin + half : bins - 1;
        at += 0.7 * half_width(w, bin);
    }
    return LAY_OK;
}

void lay_whitener_free(lay_whitener *w) {
    free(w->knot);
    free(w->level);
    free(w->scratch);
    *w = (lay_whitener){0};
}

void lay_whitener_floor(const lay_whitener *w, const double *power, double *floor) {
    const double to_mean = -1 / log(1 - QUANTILE);
    for (size_t k = 0; k < w->knots; k++) {
        size_t every = (w->high[k] - w->low[k]) / MOST_SAMPLES + 1, n = 0;
        for (size_t i = w->low[k]; i <= w->high[k]; i += every) w->scratch[n++] = power[i];
        w->level[k] = log(fmax(lay_quantile(w->scratch, n, QUANTILE) * to_mean, 1e-300));
    }
    for (size_t k = 0; k < w->knots; k++) {
        size_t from = w->knot[k], to = k + 1 < w->knots ? w->knot[k + 1] : w->bins;
        double next = w->level[k + 1 < w->knots ? k + 1 : k], step = (next - w->level[k]) / (double)(to - from);
        double value = exp(w->level[k]), factor = exp(step);
        for (size_t i = from; i < to; i++, value *= factor) floor[i] = value;
    }
}
