/* The picture of a run's speed: what its panels and its words share. */
#ifndef LAYSHAFT_REPORT_SPEED_PLOT_H
#define LAYSHAFT_REPORT_SPEED_PLOT_H

#include <layshaft/report.h>

#include "speed_shades.h"

#define LAY_SPEED_GUIDES 2

/* A line expected along the speed. */
typedef struct lay_speed_guide {
    const char *name;
    double order;
    const char *ink, *line, *dash; /* colour of the name, brighter one of the line on black */
} lay_speed_guide;

typedef struct lay_speed_plot {
    const lay_unit *unit;
    const lay_speed_row *row;
    const lay_spectrogram *map;
    lay_shades shades;
    lay_speed_guide guides[LAY_SPEED_GUIDES];
    size_t guide_count;
    double top_hz, low_rpm, high_rpm; /* axes */
    lay_text *out;
} lay_speed_plot;

/* Which run, how fast, how sure: two lines on top. */
void lay_speed_plot_title(const lay_speed_plot *p);
/* Names at the right end of the guides; the shaft has knots. */
void lay_speed_plot_guides(const lay_speed_plot *p);
/* Hatching where there is no speed, and "not confirmed" where it is doubtful. */
void lay_speed_plot_gaps(const lay_speed_plot *p);
void lay_speed_plot_doubt(const lay_speed_plot *p);

#endif
