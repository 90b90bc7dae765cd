/* Blows that no part of the unit file explains. */
#ifndef LAYSHAFT_JUDGE_STRANGER_H
#define LAYSHAFT_JUDGE_STRANGER_H

#include "strikes.h"

/* Looks for one, unless one of the unit's own hypotheses, `known`, explains the blows; of those that do not, the
 * probabilities are lowered when one is found. */
lay_status lay_stranger_find(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count,
                             const lay_hypothesis_list *known, const lay_strike_table *strikes, lay_score *scores,
                             lay_stranger *out, lay_error *err);

#endif
