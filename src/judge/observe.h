/* What the runs hold at the places the hypotheses predict. */
#ifndef LAYSHAFT_JUDGE_OBSERVE_H
#define LAYSHAFT_JUDGE_OBSERVE_H

#include "hypothesis.h"

typedef struct lay_observation {
    bool valid;      /* predicted, inside the spectrum, not covered by a tone fixed in Hz */
    bool low;        /* among the lowest engine orders: valid only where the engine's own line could be learnt */
    double level_db; /* tone-to-noise ratio that the part itself can be given: engine's share off, sweeps evened out */
    double side;     /* power of the stronger side of a pair, at most 8 dB above the weaker: one alone may be chance; -1
                        unknown */
    double engine;   /* power the engine would make at this order by its neighbours, 0 away from its orders */
    double order[2]; /* where it was measured */
    lay_tone tone;   /* as measured (stronger side of a pair) */
} lay_observation;

typedef struct lay_observations {
    size_t hypotheses, runs;
    lay_observation *at; /* [hypotheses][runs][LAY_GROUPS] */
    bool *loaded;        /* [hypotheses][runs]: torque passes through the part */
} lay_observations;

lay_status lay_observe(const lay_unit *unit, const lay_hypothesis_list *list, const lay_run_evidence *runs,
                       size_t run_count, lay_observations *out, lay_error *err);
void lay_observations_free(lay_observations *o);
lay_observation *lay_observation_at(const lay_observations *o, size_t hypothesis, size_t run, int group);

#endif
