/* What somebody without a tach knows of the speed of a run. */
#ifndef LAYSHAFT_SIM_GIVEN_H
#define LAYSHAFT_SIM_GIVEN_H

#include <layshaft/sim.h>

/* rpm log of a scan tool. Recording time = log time * (1 + drift) + offset_s. */
typedef struct lay_sim_log {
    double offset_s, drift;
    double lag_s;        /* the tool shows what the engine did so long ago */
    double from_s, to_s; /* covered, in recording time; may begin late or end early */
    double rate_hz;      /* rows per second, on average */
    double quantum_rpm;
    int time_name, rpm_name; /* which headings */
    bool throttle;           /* another column between the two */
    uint64_t seed;           /* of the intervals between rows */
} lay_sim_log;

typedef struct lay_sim_tyre {
    int width_mm, aspect, rim_inch; /* 195/65 R15 */
    double rolled_m;                /* in one turn, worn and warm as it is */
} lay_sim_tyre;

typedef struct lay_sim_given {
    lay_speed_given kind; /* never LAY_GIVEN_MIXED */
    char rpm[32];         /* cells of the table; empty: nothing */
    char road_speed[32];
    char log_file[96];
    lay_sim_log log;
} lay_sim_given;

#endif
