/* Pictures of the closer look: order map of a run-up, levels of a suspect against speed, its wheels over a turn. */
#ifndef LAYSHAFT_REPORT_LOOK_PLOT_H
#define LAYSHAFT_REPORT_LOOK_PLOT_H

#include "text.h"

/* Runs that cover enough speed for a map. */
bool lay_map_worth(const lay_run_evidence *run);
lay_status lay_map_script(const lay_report_view *view, size_t run, const lay_order_spectrum *map, const char *png,
                          const char *svg, lay_text *out, lay_error *err);
/* Orders and speeds that a map of the run should hold. */
double lay_map_max_order(const lay_run_evidence *run);

/* Suspects of which cuts over speed, or wheels, were measured. */
bool lay_cuts_worth(const lay_report_view *view, size_t suspect);
lay_status lay_cuts_script(const lay_report_view *view, size_t suspect, const char *png, const char *svg, lay_text *out,
                           lay_error *err);
bool lay_turn_worth(const lay_report_view *view, size_t suspect);
lay_status lay_turn_script(const lay_report_view *view, size_t suspect, const char *png, const char *svg, lay_text *out,
                           lay_error *err);

#endif
