/* Whine or run-out: which kind of fault a mesh has. */
#ifndef LAYSHAFT_JUDGE_KINDS_H
#define LAYSHAFT_JUDGE_KINDS_H

#include "score.h"

/* Shares the odds of a mesh between whine and eccentric wheels by the strength of the sidebands. */
void lay_settle_kinds(const lay_hypothesis_list *list, const lay_observations *obs, lay_score *scores);

/* Level of the stronger sideband re its mesh line in dB, median over the loaded runs and the stronger harmonics; NaN
 * where no line stands out enough. `eccentric` and `mesh` are hypotheses of the same mesh. */
double lay_sideband_ratio(const lay_observations *obs, size_t eccentric, size_t mesh);

#endif
