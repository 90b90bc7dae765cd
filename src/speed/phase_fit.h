/* From what phases say block by block to a smooth correction and its uncertainty. */
#ifndef LAYSHAFT_SPEED_PHASE_FIT_H
#define LAYSHAFT_SPEED_PHASE_FIT_H

#include <layshaft/base.h>

/* Weighted means of relative errors of the speed; weight is the inverse variance. */
typedef struct lay_phase_says {
    double *value, *weight; /* [n] */
} lay_phase_says;

/* `half` are the same from every second line each: they share no noise and no resonance, so that their disagreement
 * tells how far all lines together may be off. Blocks are `dt` apart. z[n] receives the correction, sd[n] its standard
 * uncertainty. */
lay_status lay_phase_fit(const lay_phase_says *all, const lay_phase_says half[2], size_t n, double dt, double *z,
                         double *sd, lay_error *err);

#endif
