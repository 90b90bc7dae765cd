/* From a path on the grid of candidates to speeds as exact as the lines' own places. */
#ifndef LAYSHAFT_SPEED_LOCK_H
#define LAYSHAFT_SPEED_LOCK_H

#include "scan.h"

/* `log_hz[frames of brief]`: on entry the natural logarithm of the path's speeds, on return sharpened by the peaks of
 * both scans (`steady` may be NULL) that agree on one correction, and smoothed; `bend` is the largest usual second
 * derivative of log speed, per s^2. */
lay_status lay_lock(const lay_scan *brief, const lay_scan *steady, const lay_candidates *candidates, double bend,
                    double *log_hz, lay_error *err);

#endif
