/* What the average turn of a wheel shows of its mesh; private to the stage. */
#ifndef LAYSHAFT_JUDGE_TURN_H
#define LAYSHAFT_JUDGE_TURN_H

#include <layshaft/judge.h>

#define LAY_TURN_SIDES 8

/* NaN: cannot be measured. */
typedef struct lay_turn_view {
    bool seen;                      /* the mesh stands out of the average at all; nothing below holds without */
    int harmonic;                   /* of the mesh, the strongest: sidebands are measured around it */
    double side_db[LAY_TURN_SIDES]; /* mean power of the k-th pair of sidebands re the mesh line */
    double over_db[LAY_TURN_SIDES]; /* its power over what chance leaves there, as the parts of the run differ */
    double swell, swing;            /* once per turn: depth of the amplitude, rad of the phase */
} lay_turn_view;

/* Sidebands at which another wheel of the same shaft has its mesh, or first sidebands, are left out. LAY_NO_MEMORY. */
lay_status lay_turn_look(const lay_look_wheel *wheel, lay_turn_view *out, lay_error *err);

#endif
