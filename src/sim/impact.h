/* Trains of impacts: each event is a unit impulse that makes a resonance ring. */
#ifndef LAYSHAFT_SIM_IMPACT_H
#define LAYSHAFT_SIM_IMPACT_H

#include "filter.h"
#include "run.h"

typedef enum lay_sim_timing {
    LAY_SIM_LOCKED, /* every 1/order turns, with `jitter` of the interval as a random walk (slip) */
    LAY_SIM_RATTLE, /* at a tooth's passage, but only now and then and scattered */
    LAY_SIM_RANDOM  /* `rate` events per second, at any time */
} lay_sim_timing;

#define LAY_SIM_PATTERN_MAX 16

typedef struct lay_sim_impacts {
    lay_sim_timing timing;
    double order;                        /* events per turn of the reference */
    double jitter;                       /* deviation of an interval, as a share of it */
    double rate;                         /* events/s: LAY_SIM_RANDOM */
    double chance;                       /* of a tooth to strike: LAY_SIM_RATTLE */
    double peak;                         /* crest of a strike */
    double scatter;                      /* deviation of a strike's size, as a share */
    double pattern[LAY_SIM_PATTERN_MAX]; /* sizes in turn, e.g. cylinders; pattern_count 0: all alike */
    int pattern_count, pattern_at;
    double zone_order, zone_depth; /* load zone: size modulated once per turn of this order */
    double flank[2];               /* gain on drive and on coast */
    double echo_s;                 /* a second, like strike after this time (two axles), scaled by speed; 0 none */
    bool crank;                    /* tied to the engine */
    double next;                   /* turns at which the next one falls */
    double echo_left;              /* s until a pending echo, negative: none */
    lay_sim_biquad ring;
    lay_random random;
} lay_sim_impacts;

/* Add the strikes of one block of n samples, `gain` times as strong: the angle goes from `turns0` to `turns1`.
 * `excitation` [n + 1] is overwritten; the ring of its impulses is added to x[n]. */
void lay_sim_impacts_block(lay_sim_impacts *train, double turns0, double turns1, double load, double gain, double rate,
                           double *excitation, double *x, size_t n);

#endif
