/* The streaming analyser's state and its steps; private to the stage. */
#ifndef LAYSHAFT_ORDER_ANALYSER_H
#define LAYSHAFT_ORDER_ANALYSER_H

#include <layshaft/order.h>

#include "accumulate.h"
#include "clock.h"
#include "reader.h"

#define LAY_ORDER_LEAST_TURNS 8

struct lay_order {
    lay_order_options options;
    const lay_shaft *shaft;
    lay_reader reader;
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
    double enbw;            /* of its window, bins */
    double min_hz, max_hz, mean_hz, revolutions;
    double *map, *map_weight, *class_sum, *class_hz, *class_top;
};

/* Read every angle sample the signal held so far allows, closing segments as they fill. */
void lay_order_resample(lay_order *o);
/* Transform the full segment, add it to the mean and to the row of its speed. */
void lay_order_take_segment(lay_order *o);

#endif
