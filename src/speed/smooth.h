/* Smoothing of evenly spaced values. */
#ifndef LAYSHAFT_SPEED_SMOOTH_H
#define LAYSHAFT_SPEED_SMOOTH_H

#include <layshaft/base.h>

/* Penalised least squares (Whittaker 1923; Eilers, Anal. Chem. 75 (2003) 3631): the z[n] that minimises
 * sum w (y - z)^2 + lambda sum (difference of `order` of z)^2. `weights` NULL: all 1. order 2 or 3. y and z may be the
 * same. Fewer than order + 2 points are copied. */
lay_status lay_smooth(const double *y, const double *weights, size_t n, int order, double lambda, double *z,
                      lay_error *err);

#endif
