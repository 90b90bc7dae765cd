/* Values of cells of runs.csv. */
#ifndef LAYSHAFT_SIGNAL_RUN_VALUES_H
#define LAYSHAFT_SIGNAL_RUN_VALUES_H

#include "run_fields.h"

lay_status lay_run_cell_fail(const lay_run_cell *cell, lay_error *err, const char *fmt, ...) LAY_PRINTF(3, 4);
/* A number; with ';' or tab between columns a comma may stand for the point. */
bool lay_run_number(const lay_run_cell *cell, const char *text, double *out);
lay_status lay_run_read_rpm(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
/* "62 km/h", "38 mph", "17.2 m/s". */
lay_status lay_run_read_road_speed(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
lay_status lay_run_read_channels(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
/* "490.3", or one number for each channel: "490.3+488.1". */
lay_status lay_run_read_full_scale(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
lay_status lay_run_read_unit(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
/* What a unit named in the table is in m/s2 or Pa; false for an unknown one. */
bool lay_run_unit(const char *name, double *factor, lay_quantity *quantity);
lay_status lay_run_read_load(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
lay_status lay_run_read_sensor(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);
/* A channel number from 1; false for anything else. */
bool lay_run_channel(const char *text, int *out);

#endif
