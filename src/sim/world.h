/* What distinguishes the simulated places of recording. */
#ifndef LAYSHAFT_SIM_WORLD_H
#define LAYSHAFT_SIM_WORLD_H

#include <layshaft/sim.h>

typedef struct lay_sim_range {
    double low, high;
} lay_sim_range;

/* All levels are plausible magnitudes chosen by us (common practice, no source); the job draws inside the ranges. */
typedef struct lay_sim_traits {
    const char *name;
    lay_sensor sensor;
    bool vehicle;            /* engine runs, the car moves: engine lines, ticks, rattle, stones, joints */
    bool mains;              /* hum */
    bool inverter;           /* switching tones of the electric drive */
    bool gain_riding;        /* automatic gain of a phone */
    double wind;             /* rms of wind noise re the floor, at speed */
    double clip_chance;      /* of a job whose recordings clip mildly */
    lay_sim_range engine_db; /* tone-to-noise of the firing order */
    lay_sim_range shelf_db;  /* low-frequency lift of the noise floor */
    double structure_share;  /* of the floor's power that passes through the case */
    lay_sim_range level_db;  /* rms of the floor, dB re full scale */
    int load_changes_in_ten; /* runs out of ten in which the driver lifts once */
} lay_sim_traits;

const lay_sim_traits *lay_sim_world_traits(lay_world world);

/* A uniform draw from a range; a level in dB as an amplitude factor. */
double lay_sim_draw(lay_random *random, lay_sim_range range);
double lay_sim_amplitude(double db);

#endif
