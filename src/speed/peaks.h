/* The lines that stand out of a mean spectrum. */
#ifndef LAYSHAFT_SPEED_PEAKS_H
#define LAYSHAFT_SPEED_PEAKS_H

#include "warp.h"

typedef struct lay_peak {
    double order;  /* of the path, between the points of the profile */
    double nats;   /* log likelihood ratio of a mean that high, against noise */
    double height; /* natural logarithm of the mean ratio */
} lay_peak;

/* Points either side within which a peak is the highest; a bin has four, Hann's main lobe sixteen. */
#define LAY_PEAK_APART 6
#define LAY_PEAK_BIN_POINTS 4

/* The clearest peaks of at least `least_nats`, at most `most` of them, clearest first, into out[most]; *count how many.
 * The lowest bins are left out: there the window's own lobe is all there is. */
lay_status lay_peaks_find(const lay_profile *profile, double least_nats, size_t most, lay_peak *out, size_t *count,
                          lay_error *err);

/* Place of the maximum about point i of the profile, in points, by the parabola through its neighbours. */
double lay_peak_place(const lay_profile *profile, size_t i);

#endif
