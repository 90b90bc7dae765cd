/* Correcting a path by the lines that it has sharpened itself. */
#ifndef LAYSHAFT_SPEED_ALIGN_H
#define LAYSHAFT_SPEED_ALIGN_H

#include "warp.h"

/* For every frame of `warp` the relative change of speed (at most `range` either way) that lays its spectrum best onto
 * the lines of `profile`, the mean of all frames; smoothed over time as far as the frames' evidence allows. No order of
 * the unit is needed: whatever turns with the shaft helps. log_hz[frames] receives the logarithm of the corrected
 * speed, seen[frames] how much of the lines' evidence the frame holds (1 is usual), *found the evidence (nats) that all
 * frames hold; without lines it is 0 and log_hz the path as it was. */
lay_status lay_align(const lay_warp *warp, const lay_profile *profile, double range, double *log_hz, double *seen,
                     double *found, lay_error *err);

#endif
