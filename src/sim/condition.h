/* The lines of a mesh whose flanks are in a certain condition. */
#ifndef LAYSHAFT_SIM_CONDITION_H
#define LAYSHAFT_SIM_CONDITION_H

#include "scene.h"

/* `mesh`: a voice of the mesh with its law of load set. Not for the plain condition. */
lay_status lay_sim_condition_voices(lay_sim_scene *scene, const lay_fault *fault, const lay_sim_voice *mesh,
                                    lay_error *err);

#endif
