/* The trains of impacts of one run: faults, engine ticks, rattle, the road, what stands about on a test stand. */
#ifndef LAYSHAFT_SIM_TRAINS_H
#define LAYSHAFT_SIM_TRAINS_H

#include "impact.h"
#include "pulses.h"
#include "scene.h"

#define LAY_SIM_TRAINS_MAX 32

/* A run's trains while they are collected. */
typedef struct lay_sim_trains {
    const lay_sim_scene *scene;
    const lay_sim_run *run;
    const lay_sim_pulses *pulses; /* NULL: no tach */
    lay_sim_impacts *items;
    size_t count;
    double rms;  /* of the run's floor: what surroundings are set to */
    double band; /* of its part where impacts ring: what faults are set to */
} lay_sim_trains;

typedef struct lay_sim_ring_range {
    double low_hz, high_hz, low_q, high_q;
} lay_sim_ring_range;

/* Streams of draws: fixed per job and source, so that a source keeps its ring and its sizes from run to run. Faults
 * count from 0. */
enum {
    LAY_SIM_SOURCE_TICKS = 10,
    LAY_SIM_SOURCE_ROAD = 20,
    LAY_SIM_SOURCE_KNOCKS = 30,
    LAY_SIM_SOURCE_STAND = 40,
    LAY_SIM_SOURCE_RATTLE = 100,
    LAY_SIM_SOURCE_BEARING = 500,
    LAY_SIM_SOURCE_CHIP = 890
};
lay_random lay_sim_source(const lay_sim_scene *scene, uint64_t source);

/* Fills out[LAY_SIM_TRAINS_MAX] and returns the count. The same source strikes alike in every run of the job. */
size_t lay_sim_run_trains(const lay_sim_scene *scene, const lay_sim_run *run, const lay_sim_pulses *pulses,
                          lay_sim_impacts *out);
/* A new train whose ring is drawn from the range; NULL when there is no room. */
lay_sim_impacts *lay_sim_trains_add(lay_sim_trains *trains, lay_random *random, const lay_sim_ring_range *ring);

/* strikes.c: the faults. surroundings.c: everything else. */
void lay_sim_trains_faults(lay_sim_trains *trains);
void lay_sim_trains_surroundings(lay_sim_trains *trains);

/* rms of a run's noise floor between 2 and 10 kHz, or 0.45 of the rate where that is lower: impact peaks are told
 * relative to it. */
double lay_sim_impact_noise(const lay_sim_scene *scene, const lay_sim_run *run);
/* Share of a turn of the chipped wheel from the beginning of the tach's pulse to the strike, as the wheel turns in
 * this run. It is the same all through the job; where the wheel turns the other way it is what is left of the turn. */
double lay_sim_chip_angle(const lay_sim_scene *scene, size_t fault, const lay_sim_run *run);
/* True when the tach of the job marks each turn of the chipped wheel. */
bool lay_sim_chip_marked(const lay_sim_scene *scene, size_t fault);

#endif
