/* Speed and load of one run over time, in closed form. */
#ifndef LAYSHAFT_SIM_PROFILE_H
#define LAYSHAFT_SIM_PROFILE_H

#include <layshaft/signal.h>

typedef enum lay_sim_motion { LAY_SIM_UP, LAY_SIM_DOWN, LAY_SIM_STEADY } lay_sim_motion;

#define LAY_SIM_WANDERS 3

typedef struct lay_sim_profile {
    double seconds;
    double from_hz, to_hz; /* turns/s of the reference at start and end */
    double bend;           /* |bend| < 1: how unevenly the speed rises */
    double wander_hz[LAY_SIM_WANDERS], wander_rate[LAY_SIM_WANDERS], wander_phase[LAY_SIM_WANDERS];
    double load; /* -1 full overrun .. 1 full drive */
    double load_wander, load_rate, load_phase;
    double lift_at, lift_s; /* the driver lifts (or presses) for a moment; lift_s = 0: never */
    double lift_load;
} lay_sim_profile;

/* A run of `seconds` between two speeds in rpm; wander is a few parts in a thousand for sweeps, 1..3 % when steady. */
void lay_sim_profile_draw(lay_random *random, lay_sim_motion motion, lay_load load, double low_rpm, double high_rpm,
                          double seconds, bool lifts, lay_sim_profile *out);
/* Turns of the reference since the start, speed in turns/s, load, at time t (s). */
double lay_sim_profile_turns(const lay_sim_profile *profile, double t);
double lay_sim_profile_hz(const lay_sim_profile *profile, double t);
double lay_sim_profile_load(const lay_sim_profile *profile, double t);
void lay_sim_profile_range(const lay_sim_profile *profile, double *min_hz, double *mean_hz, double *max_hz);

#endif
