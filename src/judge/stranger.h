/* Blows that no part of the unit file explains. */
#ifndef LAYSHAFT_JUDGE_STRANGER_H
#define LAYSHAFT_JUDGE_STRANGER_H

#include "strikes.h"

/* Looks for one; `known` are the hypotheses of the unit with their strikes and scores. */
lay_status lay_stranger_find(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count,
                             const lay_hypothesis_list *known, const lay_strike_table *strikes, const lay_score *scores,
                             lay_stranger *out, lay_error *err);

#endif
