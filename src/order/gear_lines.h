/* Which lines of a wheel's average turn are taken off for which signal; private to the stage. */
#ifndef LAYSHAFT_ORDER_GEAR_LINES_H
#define LAYSHAFT_ORDER_GEAR_LINES_H

#include <layshaft/order.h>

typedef enum lay_gear_line { LAY_GEAR_REST, LAY_GEAR_SIDEBAND, LAY_GEAR_SHAFT, LAY_GEAR_MESH } lay_gear_line;

/* Spectrum of one turn with its lines sorted: line k is k cycles per turn. */
typedef struct lay_gear_lines {
    lay_fft *fft;
    size_t points, count; /* count: lines from 0 to half the points */
    unsigned char *kind;  /* [count] lay_gear_line; line 0 counts as SHAFT */
    double *pairs, *work; /* [2 * count] */
    int band, teeth;      /* of the band around the first wheel's mesh */
} lay_gear_lines;

/* LAY_BAD_INPUT for no teeth, or a mesh that the turn cannot hold. */
lay_status lay_gear_lines_init(lay_gear_lines *g, size_t points, const lay_condition_options *options, lay_error *err);
void lay_gear_lines_free(lay_gear_lines *g);
/* Transform x[points] into `pairs`. */
void lay_gear_lines_of(lay_gear_lines *g, const double *x);
/* Lines of kind `highest` and below back into a signal. */
void lay_gear_lines_signal(lay_gear_lines *g, lay_gear_line highest, double *out);
/* The band around the first mesh, and its analytic signal's quadrature. */
void lay_gear_lines_band(lay_gear_lines *g, double *in_phase, double *quadrature);
/* Peak amplitude of a line. */
double lay_gear_lines_amplitude(const lay_gear_lines *g, size_t line);

#endif
