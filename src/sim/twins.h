/* Which parts of a unit no recording of the job can tell from the faulty one. */
#ifndef LAYSHAFT_SIM_TWINS_H
#define LAYSHAFT_SIM_TWINS_H

#include "scene.h"

/* True when `other`, a part of the same type, would sound like the faulty `part` in every run. Tones: the same base
 * order, for an eccentric wheel also one that turns as fast. Ghosts: a wheel that turns as fast, loaded in the same
 * runs. Bearings: the true order lies where the other's may lie, and passes the load zone as often. Chips: a wheel that
 * turns as fast and carries load in the same runs. */
bool lay_sim_inseparable(const lay_sim_scene *scene, const lay_fault *fault, const lay_expected *part,
                         const lay_expected *other);

#endif
