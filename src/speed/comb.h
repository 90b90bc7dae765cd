/* A first path: the speed at which the orders of the unit find lines, frame after frame. */
#ifndef LAYSHAFT_SPEED_COMB_H
#define LAYSHAFT_SPEED_COMB_H

#include "chirp.h"

/* Candidate c turns at low_hz * exp(c * step). */
typedef struct lay_grid {
    double low_hz, step;
    size_t count;
} lay_grid;

/* score[frames * grid.count]: log likelihood ratio of "the shaft turns at this speed" against "noise", summed over the
 * orders of the engine and of the gear that fits best. After the multi-order probabilistic approach (Leclere, Andre and
 * Antoni, Mech. Syst. Signal Process. 81 (2016) 375; value from memory of that work). */
lay_status lay_comb_score(const lay_chirp *chirp, const lay_track_options *options, const lay_grid *grid, float *score,
                          lay_error *err);

/* Dynamic programming (Viterbi 1967): path[frames] maximises the sum of scores less half the square of
 * (move - drift[frame]) / sd, moves in candidates; drift[f] is expected from frame f - 1 to f (NULL: none). Row f of
 * the scores begins at score + f * stride; count <= 65535. *total (may be NULL) receives the maximum. */
lay_status lay_path_find(const float *score, size_t frames, size_t stride, size_t count, const double *drift, double sd,
                         size_t *path, double *total, lay_error *err);

#endif
