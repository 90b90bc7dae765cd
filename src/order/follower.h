/* The streaming envelope analyser's state; private to the stage. */
#ifndef LAYSHAFT_ORDER_FOLLOWER_H
#define LAYSHAFT_ORDER_FOLLOWER_H

#include "bank.h"
#include "clock.h"
#include "synchronous.h"

struct lay_envelope {
    lay_bank bank;
    lay_clock clock;
    size_t turns, n, hop, bins;
    double *before, *after; /* [bands] running energy at the last two short spectra */
    double before_s, after_s;
    double *edge; /* [bands] running energy at the last angle */
    double edge_s;
    bool edged;   /* edge is valid: the stretch goes on */
    double *fill; /* [bands * n] */
    size_t filled;
    lay_fft *fft;
    double *window, *scratch;
    double *pairs; /* [bands * 2 * bins] */
    size_t band_count;
    size_t *from, *to; /* [band_count] elementary bands of each band */
    double *power;     /* [band_count * bins] */
    size_t segments;
    double covered; /* turns that are in a segment */
    bool goes_on;   /* the segment being filled overlaps the last one */
    lay_synchronous average;
    double *piece; /* [bands] energy over the latest piece of angle */
};

/* The recording ended before one segment was full: halve the segment until it fits in what there is. */
lay_status lay_envelope_shorten(lay_envelope *e, lay_error *err);

#endif
