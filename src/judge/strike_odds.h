/* Log odds of one hypothesis that strikes; private to the stage. */
#ifndef LAYSHAFT_JUDGE_STRIKE_ODDS_H
#define LAYSHAFT_JUDGE_STRIKE_ODDS_H

#include "strikes.h"

#define LAY_STRIKE_CLAMP 9.0    /* log odds beyond say nothing more */
#define LAY_STRIKE_SIDE_DB 15.0 /* level of sidebands that counts at most */

/* True when the run counts for the hypothesis: it should strike there, and the speed is known. */
bool lay_strike_counts(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                       const lay_run_evidence *run);
/* Log odds when `taken` dB of the level are explained otherwise. */
double lay_strike_odds(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                       const lay_run_evidence *runs, size_t run_count, double taken);
/* The score of the hypothesis alone. */
lay_score lay_strike_score(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                           const lay_run_evidence *runs, size_t run_count);

#endif
