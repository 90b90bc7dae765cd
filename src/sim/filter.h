/* Second-order sections: the structure's resonances, the colour of noise, the ring of an impact. */
#ifndef LAYSHAFT_SIM_FILTER_H
#define LAYSHAFT_SIM_FILTER_H

#include <layshaft/base.h>

typedef struct lay_sim_biquad {
    double b0, b1, b2, a1, a2; /* a0 = 1 */
    double z1, z2;             /* state, transposed direct form II */
} lay_sim_biquad;

/* Peaking and low-shelf sections, R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients".
 * Frequencies in Hz, gain in dB, slope in (0, 1]. */
lay_sim_biquad lay_sim_peaking(double rate, double hz, double q, double gain_db);
lay_sim_biquad lay_sim_low_shelf(double rate, double hz, double slope, double gain_db);

/* Two poles at `hz` whose answer to a unit impulse peaks near 1 and rings with quality `q`. */
lay_sim_biquad lay_sim_ring(double rate, double hz, double q);

#define LAY_SIM_STAGES_MAX 12

typedef struct lay_sim_cascade {
    lay_sim_biquad stage[LAY_SIM_STAGES_MAX];
    int count;
} lay_sim_cascade;

void lay_sim_cascade_add(lay_sim_cascade *cascade, lay_sim_biquad stage);
/* Filter x[0..n-1] in place. */
void lay_sim_biquad_run(lay_sim_biquad *stage, double *x, size_t n);
void lay_sim_cascade_run(lay_sim_cascade *cascade, double *x, size_t n);
/* Complex gain at `hz`. */
void lay_sim_cascade_response(const lay_sim_cascade *cascade, double rate, double hz, double *re, double *im);

#endif
