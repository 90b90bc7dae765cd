/* What a suspect that strikes shows in its best run. */
#ifndef LAYSHAFT_JUDGE_BLOWS_H
#define LAYSHAFT_JUDGE_BLOWS_H

#include "strikes.h"

/* Fills the levels, the best run and the blows of `s`; at[] are the strikes of all runs. */
void lay_blows_fill(const lay_hypothesis *h, const lay_score *score, const lay_strike *at, const lay_run_evidence *runs,
                    lay_suspect *s);

#endif
