/* Why a part is suspected and what to look at, in a mechanic's words. */
#ifndef LAYSHAFT_JUDGE_WORDS_H
#define LAYSHAFT_JUDGE_WORDS_H

#include "strikes.h"

/* Everything the sentences may need about one suspect. */
typedef struct lay_finding {
    const lay_unit *unit;
    const lay_hypothesis *hypothesis;
    const lay_score *score;
    const lay_run_evidence *runs;
    size_t run_count;
    const lay_observation *best;     /* in the run that shows it best */
    double next_db;                  /* level of the next loudest mesh, NaN when there is none */
    const lay_blows *blows;          /* lines 0: a tone */
    const lay_strike_common *strike; /* over all runs; NULL for a tone */
    const lay_strike *strike_at;     /* [run_count]; NULL for a tone */
} lay_finding;

lay_status lay_words_reasons(const lay_finding *f, lay_strings *out, lay_error *err);
lay_status lay_words_checks(const lay_finding *f, lay_strings *out, lay_error *err);

#endif
