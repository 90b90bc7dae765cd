/* The trains of impacts of one run: faults, engine ticks, rattle, the road. */
#ifndef LAYSHAFT_SIM_TRAINS_H
#define LAYSHAFT_SIM_TRAINS_H

#include "impact.h"
#include "scene.h"

#define LAY_SIM_TRAINS_MAX 24

/* Fills out[LAY_SIM_TRAINS_MAX] and returns the count. The same source strikes alike in every run of the job. */
size_t lay_sim_run_trains(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_impacts *out);

#endif
