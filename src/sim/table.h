/* runs.csv of a simulated job, as a workshop would fill it in. */
#ifndef LAYSHAFT_SIM_TABLE_H
#define LAYSHAFT_SIM_TABLE_H

#include "scene.h"

/* A body that turns in every run and a pulse count the rate can carry. */
lay_sim_tach lay_sim_tach_draw(lay_sim_scene *scene);
/* unit.ini: the unit as it is, with the vehicle's tyre where the table tells road speeds. */
void lay_sim_unit_text(const lay_sim_scene *scene, lay_text *out);
/* The table's text; stated speeds carry a reading error. */
void lay_sim_table_write(lay_sim_scene *scene, const lay_sim_tach *tach, lay_text *out);

#endif
