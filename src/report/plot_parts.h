/* What every gnuplot script needs: safe strings, safe paths, the kinds of picture. */
#ifndef LAYSHAFT_REPORT_PLOT_PARTS_H
#define LAYSHAFT_REPORT_PLOT_PARTS_H

#include <layshaft/base.h>

typedef enum lay_picture_kind { LAY_PICTURE_PNG, LAY_PICTURE_SVG, LAY_PICTURE_WINDOW } lay_picture_kind;

/* `s`, cleaned, as a gnuplot string. */
void lay_plot_quoted(lay_text *out, const char *s);
/* LAY_BAD_INPUT when a picture cannot go to `path` (NULL allowed: nothing to check). */
lay_status lay_plot_check_path(const char *path, lay_error *err);
/* Terminal and output of a picture `width` x `height`; the plot follows, then lay_plot_end. A window has no path; where
 * gnuplot has none to open, it ends with status 1. */
void lay_plot_begin(lay_text *out, lay_picture_kind kind, int width, int height, const char *path);
void lay_plot_end(lay_text *out);

#endif
