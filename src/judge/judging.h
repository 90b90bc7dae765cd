/* What the steps from scores to verdict share; private to the stage. */
#ifndef LAYSHAFT_JUDGE_JUDGING_H
#define LAYSHAFT_JUDGE_JUDGING_H

#include "kinds.h"
#include "strikes.h"

#define LAY_SUSPECTS_MAX 6

typedef struct lay_judging {
    const lay_unit *unit;
    const lay_run_evidence *runs;
    size_t run_count;
    lay_hypothesis_list list;
    lay_observations obs;
    lay_strike_table strikes;
    lay_score *scores;
    const lay_turn_hints *hints; /* NULL: none */
    size_t *rank;                /* hypotheses by falling probability */
    lay_verdict *out;
} lay_judging;

/* lay_judge with what a closer look has already told of some meshes. */
lay_status lay_judge_hinted(const lay_unit *unit, const lay_run_evidence *runs, size_t count,
                            const lay_turn_hints *hints, lay_verdict *out, lay_error *err);
/* Order of all hypotheses by probability, best first, into j->rank. */
void lay_judging_rank(lay_judging *j);
/* Suspects worth naming into j->out; chosen[LAY_SUSPECTS_MAX] receives their hypotheses. */
lay_status lay_judging_suspects(lay_judging *j, size_t *chosen, lay_error *err);
/* What may stay and what may not: every mesh and bearing into j->out->parts, after the suspects are known. */
lay_status lay_judging_parts(lay_judging *j, lay_error *err);
/* The outcome from the suspects and from what the runs could show at all. */
void lay_judging_decide(lay_judging *j);
/* How many runs can be used; whether any of them puts torque through a gear pair. */
size_t lay_judging_usable(const lay_judging *j);
bool lay_judging_loaded(const lay_judging *j);
/* Recordings that would settle it, by what hypothesis `first` lacks; then the sentence that sums up. */
lay_status lay_judging_advise(lay_judging *j, size_t first, lay_error *err);
lay_status lay_judging_summarise(lay_judging *j, lay_error *err);

#endif
