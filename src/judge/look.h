/* A closer look at the suspects: what its steps share; private to the stage. */
#ifndef LAYSHAFT_JUDGE_LOOK_H
#define LAYSHAFT_JUDGE_LOOK_H

#include <layshaft/judge.h>

#define LAY_LOOK_HARMONICS 5 /* of a suspect's mesh */

typedef struct lay_looking {
    const lay_unit *unit;
    const lay_run_table *table;
    const lay_run_evidence *runs;
    size_t run_count;
    int threads;
    lay_verdict *verdict;
    lay_look *out;
} lay_looking;

/* The toothed part of a suspect as expected in a run that can be followed; NULL where the suspect is not worth it or
 * has no teeth, where it does not turn, and for a run whose speed is not known. */
const lay_expected *lay_looking_part(const lay_looking *l, size_t suspect, size_t run);

/* Order cuts: of all runs that sweep, as far as four; of steady runs one point each, from their spectrum. */
lay_status lay_looking_cuts(lay_looking *l, lay_error *err);
/* The average turn of both wheels of each suspect, in its best run. */
lay_status lay_looking_turns(lay_looking *l, lay_error *err);

#endif
