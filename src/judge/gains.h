/* How loud one line was in every unit, as a multiple of what good units have there; private to the stage. */
#ifndef LAYSHAFT_JUDGE_GAINS_H
#define LAYSHAFT_JUDGE_GAINS_H

#include <layshaft/judge.h>

typedef struct lay_gain {
    double *of;      /* [unit_count] power over that of the good units; about 0 where all drown; NaN: not measured */
    double variance; /* of one unit's gain, from noise, as usual among the good units */
    double scatter;  /* variance of the good units' gains; NaN: fewer than three */
    double mean;     /* of the good units: 1 for a line that is heard, nearer to 0 the more it drowns */
    double *covered; /* [unit_count] share of the bands that most good units have */
    int units;       /* good ones that were measured; fewer than half of them: 0, their speeds are no others' */
} lay_gain;

/* One line over the bands of speed that half of the good units share. Each band tells the ratio of the unit's power to
 * the usual one there; they count by the inverse square of their doubt: noise, and what resonances shift from unit to
 * unit. What lies far off the others, as where a tone fixed in Hz passes, is drawn in (Huber's estimate: location.
 * Huber 1964, from memory of the work). used[unit_count]: the good units. Free with lay_gain_free. */
lay_status lay_gain_find(const lay_baseline *baseline, const bool *used, const lay_baseline_line *line, lay_gain *out,
                         lay_error *err);
void lay_gain_free(lay_gain *gain);

#endif
