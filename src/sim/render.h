/* One run to a file. */
#ifndef LAYSHAFT_SIM_RENDER_H
#define LAYSHAFT_SIM_RENDER_H

#include "pulses.h"
#include "scene.h"

/* Write the run to `path`; `pulses` (NULL: no tach) becomes channel 2 and is consumed. Memory does not grow with
 * length. */
lay_status lay_sim_render(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_pulses *pulses, const char *path,
                          lay_error *err);

#endif
