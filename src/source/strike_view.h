/* One run's envelope spectra in dB, and the same with what is locked to shafts and engine taken off; private to the
 * stage. */
#ifndef LAYSHAFT_SOURCE_STRIKE_VIEW_H
#define LAYSHAFT_SOURCE_STRIKE_VIEW_H

#include "combs.h"

#define LAY_STRIKE_MOST_DB 60.0
#define LAY_STRIKE_EXACT_BINS 1.3 /* how near an exact multiple a line must be to be one */

struct lay_strikes {
    const lay_run_evidence *run;
    size_t first, last; /* bands that are looked at */
    lay_combs combs;
    float *raw; /* [band_count * bins] dB over the floor, 0..LAY_STRIKE_MOST_DB */
    float *own; /* the same, what exact series explain taken off */
};

/* Highest of the bins within `half` of bin `at` (fractions allowed). */
float lay_strike_highest(const float *row, size_t bins, double at, double half);
/* What neighbours as strong as level[count] let expect of a line of their series; noise lets expect nothing. Reorders.
 */
double lay_strike_allowed(double *level, size_t count);

#endif
