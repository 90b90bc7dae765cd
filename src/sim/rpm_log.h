/* rpm logs as scan tools write them. */
#ifndef LAYSHAFT_SIM_RPM_LOG_H
#define LAYSHAFT_SIM_RPM_LOG_H

#include "run.h"

/* Draw clock, rate, rounding and headings for a run of `seconds`. */
void lay_sim_log_draw(lay_random *random, double seconds, lay_sim_log *out);
/* The log of the run's engine as CSV, appended to `out`. */
void lay_sim_log_write(const lay_sim_run *run, lay_text *out);

#endif
