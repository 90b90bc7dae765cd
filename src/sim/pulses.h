/* A tach channel with the faults real ones have. */
#ifndef LAYSHAFT_SIM_PULSES_H
#define LAYSHAFT_SIM_PULSES_H

#include <layshaft/base.h>

typedef struct lay_sim_pulses {
    double per_turn;       /* pulses per turn of the body */
    double body_order;     /* |turns| of the body per turn of the reference */
    double duty;           /* share of a pulse */
    double low, high;      /* levels; low > high: inverted */
    double jitter;         /* deviation of an edge, share of a pulse */
    double missing, twice; /* chances per pulse */
    double noise;
    double next_rise, next_fall, extra_rise; /* in pulses; extra < 0: none */
    bool up;
    lay_random random;
} lay_sim_pulses;

/* Draw duty, levels, jitter and errors for a given wheel. */
void lay_sim_pulses_draw(lay_random *random, double per_turn, double body_order, lay_sim_pulses *out);
/* n samples while the reference goes from turns0 to turns1. */
void lay_sim_pulses_block(lay_sim_pulses *pulses, double turns0, double turns1, double *x, size_t n);

#endif
