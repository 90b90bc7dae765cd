/* Whine or run-out: which kind of fault a mesh has. */
#ifndef LAYSHAFT_JUDGE_KINDS_H
#define LAYSHAFT_JUDGE_KINDS_H

#include "score.h"

/* What the average turn of both wheels says of a mesh; it tells a wheel's own sidebands from chance and from the other
 * wheel's far better than the spectra of whole runs. */
typedef struct lay_turn_hint {
    int mesh;  /* of the unit */
    int wheel; /* that runs out; -1: none does */
} lay_turn_hint;
typedef struct lay_turn_hints {
    lay_turn_hint *items; /* owned */
    size_t count;
} lay_turn_hints;

/* Shares the odds of a mesh between whine and eccentric wheels: by what a hint says of it, else by the strength of the
 * sidebands. `hints` may be NULL. */
void lay_settle_kinds(const lay_hypothesis_list *list, const lay_observations *obs, const lay_turn_hints *hints,
                      lay_score *scores);

/* Level of the stronger sideband re its mesh line in dB, median over the loaded runs and the stronger harmonics; NaN
 * where no line stands out enough. `eccentric` and `mesh` are hypotheses of the same mesh. */
double lay_sideband_ratio(const lay_observations *obs, size_t eccentric, size_t mesh);

#endif
