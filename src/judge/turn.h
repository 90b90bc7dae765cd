/* What the average turn of a wheel shows of its mesh; private to the stage. */
#ifndef LAYSHAFT_JUDGE_TURN_H
#define LAYSHAFT_JUDGE_TURN_H

#include <complex.h>

#include <layshaft/judge.h>

/* Complex lines of an average: one of peak amplitude A has the modulus A / 2. */
typedef struct lay_turn_lines {
    double complex *mean;
    double *chance; /* power that chance leaves in `mean`: variance over the parts over their number */
    size_t count;
    bool parted; /* without parts nothing is known of chance */
} lay_turn_lines;
lay_status lay_turn_lines_of(const lay_tsa_average *average, size_t channel, lay_turn_lines *out, lay_error *err);
void lay_turn_lines_free(lay_turn_lines *lines);
/* Power of a line, and what chance leaves around it; single lines vary too much with so few parts. */
double lay_turn_power(const lay_turn_lines *lines, size_t line);
double lay_turn_chance(const lay_turn_lines *lines, size_t line);

#define LAY_TURN_SIDES 8

/* NaN: cannot be measured. */
typedef struct lay_turn_view {
    bool seen;                      /* the mesh stands out of the average at all; nothing below holds without */
    int harmonic;                   /* of the mesh, the strongest: sidebands are measured around it */
    double side_db[LAY_TURN_SIDES]; /* mean power of the k-th pair of sidebands re the mesh line */
    double over_db[LAY_TURN_SIDES]; /* its power over what chance leaves there, as the parts of the run differ */
    double swell, swing; /* once per turn: depth of the amplitude, rad of the phase; NaN where another wheel's mesh
                          * is one of the sidebands */
    double once_db;      /* modulation once per turn, half of swell and swing together, re the mesh line */
} lay_turn_view;

/* Sidebands at which another wheel of the same shaft has its mesh, or first sidebands, are left out. LAY_NO_MEMORY. */
lay_status lay_turn_look(const lay_look_wheel *wheel, lay_turn_view *out, lay_error *err);

#endif
