/* A steady speed from lines that belong together. */
#ifndef LAYSHAFT_SPEED_FAMILY_H
#define LAYSHAFT_SPEED_FAMILY_H

#include "scan.h"

/* Speeds at which lines of several orders fit, each to a fraction of a bin of the long spectra, and how sure that is: 0
 * when fewer than three orders fit or a rival speed explains nearly as much. `path[frames of steady]` receives the
 * candidate of each frame. `length`: samples in each spectrum, fewer than its size when the recording is brief. */
lay_status lay_family_find(const lay_scan *steady, size_t length, const lay_candidates *candidates, size_t *path,
                           double *confidence, lay_error *err);

#endif
