/* The streaming analyser's state and its steps; private to the stage. */
#ifndef LAYSHAFT_ORDER_ANALYSER_H
#define LAYSHAFT_ORDER_ANALYSER_H

#include <layshaft/order.h>

#include "accumulate.h"
#include "clock.h"

/* Order spectrum by angular resampling (Fyfe and Munck, MSSP 11 (1997) 187: interpolation after a proper low-pass).
 *
 * Samples are taken at even angles from the level of the pyramid that just holds the highest wanted order at the speed
 * of the moment. With level Nyquist N between max_order * hz / FLAT and twice that, and images gone above 1.2 N, a rate
 * of PER_ORDER * max_order samples per turn folds nothing below max_order: PER_ORDER > 1 + 2 * 1.2 / 0.8 would be
 * needed in the worst case for the very last image; the interpolator's own roll-off above N leaves 1 + 2 / FLAT. */

#define LAY_ORDER_FLAT 0.78 /* part of a level's Nyquist band that interpolates flat and clean */
#define LAY_ORDER_PER_ORDER 3.7
#define LAY_ORDER_HALF_WIDTH 16
#define LAY_ORDER_FLAT_FINE 0.93 /* the same where the recording's own rate is the limit, with the longer kernel */
#define LAY_ORDER_HALF_WIDTH_FINE 48
#define LAY_ORDER_KAISER_BETA 9.0
#define LAY_ORDER_LEAST_TURNS 8

struct lay_order {
    lay_order_options options;
    const lay_shaft *shaft;
    lay_sinc *sinc, *fine;
    double weights[2 * LAY_ORDER_HALF_WIDTH_FINE];
    lay_pyramid pyramid;
    lay_clock clock;
    lay_average angle, hz;
    bool hz_on;
    int hz_level;
    int64_t hz_next;                   /* next frame of hz_level to hand to the Hz spectrum */
    int64_t frames;                    /* fed so far */
    double *frame;                     /* [channels] one angle sample */
    double seg_low, seg_high, seg_sum; /* speed over the segment being filled */
    size_t seg_count;
    size_t per_turn, turns; /* of a segment */
    double min_hz, max_hz, mean_hz, revolutions;
    double *map, *map_weight, *class_sum, *class_hz, *class_top;
};

/* Read every angle sample the signal held so far allows, closing segments as they fill. */
void lay_order_resample(lay_order *o);
/* Transform the full segment, add it to the mean and to the row of its speed. */
void lay_order_take_segment(lay_order *o);

#endif
