/* The noise floor of a job and the way from the teeth to the sensor.
 *
 * Two independent noises: one through the air and the mounting, coloured by its own shape, one through the case,
 * coloured by the resonances that also colour every gear tone. Their spectra are known exactly, so that a tone can be
 * set to a wanted tone-to-noise ratio without measuring anything. */
#ifndef LAYSHAFT_SIM_FLOOR_H
#define LAYSHAFT_SIM_FLOOR_H

#include "filter.h"
#include "world.h"

#define LAY_SIM_GRID 16384 /* steps from 0 to half the rate */

typedef struct lay_sim_floor {
    double rate;
    lay_sim_cascade air, structure;    /* fresh state: copy before running */
    double air_level, structure_level; /* of the white noise fed to each; both floors together have rms 1 */
    double air_share, structure_share; /* mean squares, sum 1 */
    double *gain, *turn; /* [LAY_SIM_GRID + 1] gain of the structure and its phase in rad, without jumps */
    double *air_below, *structure_below; /* [LAY_SIM_GRID + 1] mean square below each frequency */
} lay_sim_floor;

lay_status lay_sim_floor_draw(lay_random *random, const lay_sim_traits *traits, double rate, lay_sim_floor *out,
                              lay_error *err);
void lay_sim_floor_free(lay_sim_floor *noise);

/* Gain of the structure at `hz` and its phase in rad. */
void lay_sim_floor_gain(const lay_sim_floor *noise, double hz, double *gain, double *turn);
/* Mean square of either noise in the critical band around `hz`, ECMA-418-1. */
void lay_sim_floor_band(const lay_sim_floor *noise, double hz, double *air, double *structure);

/* Gaussian white noise of deviation `level` into x[n]. */
void lay_sim_white(lay_random *random, double level, double *x, size_t n);

#endif
