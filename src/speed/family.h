/* A steady speed from lines that belong together. */
#ifndef LAYSHAFT_SPEED_FAMILY_H
#define LAYSHAFT_SPEED_FAMILY_H

#include "scan.h"

/* Speeds at which lines of several orders fit, each to a fraction of a bin of the long spectra, and how sure that is: 0
 * when too few orders fit or a rival speed explains nearly as much. `log_hz[frames of steady]` receives the natural
 * logarithm of each frame's speed, from the places of the lines that fit. `length`: samples in each spectrum, fewer
 * than its size when the recording is brief. The candidates' weights are not used: absent lines speak against no speed.
 */
lay_status lay_family_find(const lay_scan *steady, size_t length, const lay_candidates *candidates, double *log_hz,
                           double *confidence, lay_error *err);

#endif
