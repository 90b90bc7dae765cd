/* truth.json: what was put into a job. */
#ifndef LAYSHAFT_SIM_TRUTH_H
#define LAYSHAFT_SIM_TRUTH_H

#include "scene.h"

void lay_sim_truth_write(const lay_sim_scene *scene, lay_text *out);

#endif
