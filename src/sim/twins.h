/* Which parts of a unit no recording of the job can tell from the faulty one. */
#ifndef LAYSHAFT_SIM_TWINS_H
#define LAYSHAFT_SIM_TWINS_H

#include "scene.h"

/* Does this fault show at the body's turn, so that sidebands could tell parts of one order apart? */
bool lay_sim_shows_wheel(lay_fault_kind kind);
/* True when `other`, a part of the same type, would sound like the faulty `part` in every run. Tones: the same base
 * order. Bearings: the true order lies where the other's may lie, and passes the load zone as often. Chips: a wheel
 * that turns as fast and carries load in the same runs. */
bool lay_sim_inseparable(const lay_sim_scene *scene, const lay_fault *fault, const lay_expected *part,
                         const lay_expected *other);

#endif
