/* How much louder each unit of a baseline is than the mean of the good ones, by part, kind of line and condition;
 * private to the stage. */
#ifndef LAYSHAFT_JUDGE_RISES_H
#define LAYSHAFT_JUDGE_RISES_H

#include <layshaft/judge.h>

#include <stdint.h>

#define LAY_RISE_HARMONICS 6

typedef struct lay_rise {
    const char *part; /* borrowed from the baseline */
    lay_part_type type;
    int harmonic;  /* as in lay_limit */
    int condition; /* -1: mean over all */
    bool loaded;
    double clear;    /* of its strongest line, mean of the good units: see lay_baseline_line */
    double variance; /* of the good units */
    int units;       /* used ones that were measured */
    double *db;      /* [unit_count] NaN: not measured */
    double *covered; /* [unit_count] share of the bands of the baseline; of a mean over conditions that of the one
                      * covered least, among those in which the part carries torque, if it does in any */
} lay_rise;

typedef struct lay_rises {
    lay_rise *items;
    size_t count, capacity;
} lay_rises;

/* used[unit_count]: the good ones. `tested` is the unit that will be held against them, LAY_NO_UNIT none: a line counts
 * that is the part's in half of the good units, or in that one. Free with lay_rises_free. */
#define LAY_NO_UNIT SIZE_MAX
lay_status lay_rises_find(const lay_baseline *baseline, const bool *used, size_t tested, lay_rises *out,
                          lay_error *err);
void lay_rises_free(lay_rises *rises);

#endif
