/* Trains of impacts: each event makes a resonance ring. */
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

/* A decaying sine that begins at the strike, wherever that lies between two samples. */
typedef struct lay_sim_ringing {
    lay_sim_biquad poles;
    double w, log_r; /* rad and (negative) Np per sample */
    double size;     /* of the sine, so that its first crest is 1 */
    double spill[2]; /* excitation that falls into the next block */
} lay_sim_ringing;

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
    double zone_order, zone_phase; /* load zone, passed once per turn of this order; phase in turns of it */
    double zone_width;             /* load distribution factor (Stribeck); 0: no load zone */
    double flank[2];               /* gain on drive and on coast */
    double echo_s;                 /* more, like strikes this long after one another (two axles); 0: none */
    int echoes;                    /* how many */
    bool crank;                    /* tied to the engine */
    double next;                   /* turns at which the next one falls */
    double echo_left;              /* s until a pending echo, negative: none */
    int echoes_left;               /* pending ones */
    lay_sim_ringing ring;
    lay_random random;
} lay_sim_impacts;

/* Crest 1 at the strike, whatever the frequency; `q` is the quality of the resonance. */
lay_sim_ringing lay_sim_ringing_at(double rate, double hz, double q);

/* Size of a strike that is `turns` of the loaded ring away from the middle of the load zone: (1 - (1 - cos a) / 2 e)
 * to the power 1.5, 0 outside the zone, with the load distribution factor e = `width` (Stribeck's distribution in a
 * radially loaded ball bearing, Harris, Rolling Bearing Analysis: from memory of the work). */
double lay_sim_load_zone(double turns, double width);

/* Add the strikes of one block of n >= 2 samples, `gain` times as strong: the angle goes from `turns0` to `turns1`.
 * `excitation` [n + 2] is overwritten; the ring of its impulses is added to x[n]. */
void lay_sim_impacts_block(lay_sim_impacts *train, double turns0, double turns1, double load, double gain, double rate,
                           double *excitation, double *x, size_t n);

#endif
