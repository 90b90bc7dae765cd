/* Pieces of a random transmission, written as sections of a unit file. */
#ifndef LAYSHAFT_SIM_RANDOM_UNIT_H
#define LAYSHAFT_SIM_RANDOM_UNIT_H

#include <layshaft/base.h>

#define LAY_SIM_GEARS_MAX 6

extern const char *const lay_sim_ordinals[LAY_SIM_GEARS_MAX]; /* "first" .. "sixth" */

/* What later sections must know of the gear train. */
typedef struct lay_sim_layout {
    const char *output;    /* body that drives the axle */
    const char *middle;    /* countershaft; NULL in a two-shaft transaxle */
    const char *free_gear; /* a wheel that runs on a shaft, and that shaft */
    const char *free_shaft;
    bool pilot; /* mainshaft runs in the input shaft */
    bool transaxle;
} lay_sim_layout;

/* Tooth counts of a pair with about the wanted ratio driven / driver and sum of teeth; with `hunting` no common factor.
 */
void lay_sim_pair(lay_random *random, double ratio, int sum, bool hunting, int *driver, int *driven);

/* [unit], meshes and gears of an inline box with countershaft, of one with an epicyclic overdrive behind it, and of a
 * two-shaft transaxle. */
void lay_sim_countershaft_box(lay_random *random, const char *name, bool overdrive, lay_text *out,
                              lay_sim_layout *layout);
void lay_sim_transaxle(lay_random *random, const char *name, lay_text *out, lay_sim_layout *layout);

/* Bearings of the shafts, then engine, axle and belt-driven rotors. */
void lay_sim_bearings(lay_random *random, const lay_sim_layout *layout, lay_text *out);
void lay_sim_surroundings(lay_random *random, const lay_sim_layout *layout, lay_text *out);

#endif
