/* How much louder each unit is than the mean of good ones; private to the stage. */
#ifndef LAYSHAFT_JUDGE_RISES_H
#define LAYSHAFT_JUDGE_RISES_H

#include <layshaft/judge.h>

#include <stdint.h>

/* Multiples that have a limit of their own. */
#define LAY_RISE_HARMONICS 6

typedef struct lay_rise {
    const char *part; /* borrowed from the baseline */
    lay_part_type type;
    int harmonic;  /* as in lay_limit */
    int condition; /* -1: all in which the part carries torque; all at all where it carries torque in none */
    bool loaded;
    double variance; /* of the good units */
    int units;       /* good ones that were measured */
    double *db;      /* [unit_count] NaN: not measured */
    double *covered; /* [unit_count] share of the speeds of the baseline, by the line that has most of them */
} lay_rise;

typedef struct lay_rises {
    lay_rise *items;
    size_t count, capacity;
} lay_rises;

/* used[unit_count]: the good ones. `tested` is the unit that will be held against them, LAY_NO_UNIT none: a line counts
 * that is the part's in half of the good units, or in that one. A set of lines rises by the weighted mean of their
 * gains, those counting most that are heard in good units; in decibels as far as it stands out of the noise, and in
 * proportion to it below (generalised logarithm: Durbin et al. 2002, from memory of the work), so that the spread from
 * unit to unit is one and the same, heard or not. Free with lay_rises_free. */
#define LAY_NO_UNIT SIZE_MAX
lay_status lay_rises_find(const lay_baseline *baseline, const bool *used, size_t tested, lay_rises *out,
                          lay_error *err);
void lay_rises_free(lay_rises *rises);

#endif
