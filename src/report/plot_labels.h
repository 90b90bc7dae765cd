/* Which lines of a spectrum get a label, and where the labels go so that none covers another. */
#ifndef LAYSHAFT_REPORT_PLOT_LABELS_H
#define LAYSHAFT_REPORT_PLOT_LABELS_H

#include <layshaft/source.h>

#define LAY_PLOT_LABELS 12 /* at most */
#define LAY_PLOT_TIERS 6   /* heights, 0 lowest */

typedef struct lay_plot_label {
    const lay_explained_line *line; /* borrowed */
    char text[96];
    int tier;  /* -1: no room, the marker stands alone */
    double x;  /* order of the line */
    double at; /* order of the label's centre: x, moved inwards near the edges */
} lay_plot_label;

/* The strongest explained lines up to `max_order`, whole harmonics before sidebands, rising order. `columns` is how
 * many characters fit across the plot. Returns how many of out[LAY_PLOT_LABELS] were filled. */
size_t lay_plot_labels_choose(const lay_unit *unit, const lay_run_evidence *run, double max_order, int columns,
                              lay_plot_label *out);
/* The highest order worth showing: room for the lines that will be labelled and for the loaded meshes. */
double lay_plot_max_order(const lay_run_evidence *run);

#endif
