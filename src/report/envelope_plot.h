/* The envelope spectrum that shows a fault that strikes best, as a picture. */
#ifndef LAYSHAFT_REPORT_ENVELOPE_PLOT_H
#define LAYSHAFT_REPORT_ENVELOPE_PLOT_H

#include "text.h"

/* The likeliest suspect that strikes and has an envelope spectrum to show; NULL when there is none. */
const lay_suspect *lay_envelope_suspect(const lay_report_view *view);

/* The spectrum of its band in its best run, as gnuplot commands with the data inline, appended to `out`; `png` and
 * `svg` as with lay_report_plot_script. 1200 x 600. */
lay_status lay_envelope_script(const lay_report_view *view, const lay_suspect *suspect, const char *png,
                               const char *svg, lay_text *out, lay_error *err);

#endif
