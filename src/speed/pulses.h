/* From edge times to counted pulses to a smooth angle. */
#ifndef LAYSHAFT_SPEED_PULSES_H
#define LAYSHAFT_SPEED_PULSES_H

#include <layshaft/speed.h>

/* One pulse, or the mean of several neighbours where they come quickly: `number` is how many pulses lie before it
 * (missing ones counted), `broken` true when the pulses stopped before this one. */
typedef struct lay_pulse {
    double time, number;
    uint16_t lost, doubled; /* missing pulses and edges that are no pulses between this one and the one before */
    bool broken;
} lay_pulse;

typedef struct lay_pulses {
    lay_pulse *items;
    size_t count, capacity;
    size_t finished; /* levelled and thinned up to here */
    int64_t last_number;
    double last_time, last_period; /* period 0: not known */
    int64_t seen, skipped;         /* pulses counted; edges left out since the last */
    bool gap;                      /* what was screened last is no shaft */
    int64_t kept, doubtful;        /* pulses screened; those whose period fits badly to the neighbours' */
    double condemned_s;            /* time in which pulses came that no shaft makes */
    int missing, extra, single_gaps;
} lay_pulses; /* zero it to start */

void lay_pulses_free(lay_pulses *p);

/* Count the edges from `from` to `to`; those before and after, up to `count`, are looked at as neighbours only.
 * Which are pulses, and where some are missing, is chosen so that the pulses go on evenly before and after
 * (lay_choose_pulses); long intervals are a stop. */
lay_status lay_pulses_add(lay_pulses *p, const double *edges, size_t count, size_t from, size_t to, lay_error *err);
/* Edges either side that lay_pulses_add likes to see. */
#define LAY_PULSES_NEAR 16

/* Leave out of the pulses added since the last lay_pulses_thin what no turning shaft makes, and count what is missing,
 * extra and doubtful among the rest. `last`: no more will be added. */
lay_status lay_pulses_screen(lay_pulses *p, double pulses_per_rev, bool last, lay_error *err);

/* What is shorter is no run of a shaft. */
#define LAY_PULSES_LEAST 5
#define LAY_PULSES_LEAST_S 0.1

/* Take out of the pulses added since the last call what repeats every turn (unequal slots, a whole number of pulses per
 * turn), then replace neighbours by their mean where there are more than some 240 per second. */
lay_status lay_pulses_thin(lay_pulses *p, double pulses_per_rev, lay_error *err);

/* A wheel with a gap of one or two teeth misses them every turn: then they do not count as missing. */
void lay_pulses_excuse_gaps(lay_pulses *p, double pulses_per_rev);

/* Fit the angle: knots with turns and speed. `per_turn`: pulses per turn of the reference shaft. */
lay_status lay_pulses_fit(lay_pulses *p, double per_turn, lay_shaft *out, lay_error *err);

/* Least-squares quadratic n = b0 + b1 u + b2 u^2 through `count` >= 3 points of u = t - origin; exact for three
 * (Fyfe and Munck, MSSP 11 (1997) 187). */
bool lay_quadratic_fit(const double *t, const double *n, size_t count, double origin, double b[3]);

#endif
