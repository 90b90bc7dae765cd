/* One run of a job before it is rendered: gear, load, motion, kinematics. */
#ifndef LAYSHAFT_SIM_RUN_H
#define LAYSHAFT_SIM_RUN_H

#include <layshaft/sim.h>

#include "given.h"
#include "trip.h"

typedef struct lay_sim_run {
    int gear;
    lay_load load;
    lay_sim_motion motion;
    lay_sim_profile profile;
    lay_sim_trip trip;         /* what happens on the way */
    struct lay_sim_run *lower; /* kinematics of the gear before a shift, NULL: none; owned */
    lay_sim_given given;       /* what the table says of the speed */
    lay_kinematics kinematics;
    lay_expected *expected; /* names borrowed from the unit */
    size_t expected_count;
    double output_order; /* |turns| of the output per turn of the reference */
    char file[96];
} lay_sim_run;

/* Expected entry of a part; NULL when the unit has none. */
const lay_expected *lay_sim_run_part(const lay_sim_run *run, lay_part_type type, int index);
void lay_sim_run_free(lay_sim_run *run);

#endif
