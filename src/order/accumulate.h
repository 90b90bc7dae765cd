/* Averaged power spectra: in the angle domain with rows by speed, and in Hz. */
#ifndef LAYSHAFT_ORDER_ACCUMULATE_H
#define LAYSHAFT_ORDER_ACCUMULATE_H

#include <layshaft/order.h>

/* One averaged spectrum of segments of n points, channels added by power. */
typedef struct lay_average {
    lay_fft *fft;
    size_t n, hop, bins, channels;
    double *window, *scratch, *pairs;
    double scale;    /* |X|^2 -> mean square of a tone */
    double *fill;    /* [channels * n] the segment being filled */
    size_t filled;   /* frames in it */
    double *sum;     /* [bins] */
    double *weight;  /* [bins] segments that count for the bin */
    double *one;     /* [bins] power of the latest segment */
    double *channel; /* [channels] summed power of each */
    size_t segments;
} lay_average;

/* `bins` bins are kept of n/2+1. */
lay_status lay_average_init(lay_average *a, size_t n, size_t hop, size_t bins, size_t channels, lay_window window,
                            lay_error *err);
void lay_average_free(lay_average *a);
/* Put one frame in (frame[channels]); true when a segment is complete: then lay_average_take must follow. */
bool lay_average_put(lay_average *a, const double *frame);
/* Transform the full segment into a->one, add bins below `top` to the sums, keep the overlap. */
void lay_average_take(lay_average *a, size_t top);
/* Throw away a half-filled segment. */
void lay_average_restart(lay_average *a);
/* Effective number of independent averages: segments (Welch 1967) times channels, these by how evenly they share the
 * power and taken as independent of each other. */
double lay_average_count(const lay_average *a);

#endif
