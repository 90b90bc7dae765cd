/* The best path through a table of scores. */
#ifndef LAYSHAFT_SPEED_RIDGE_H
#define LAYSHAFT_SPEED_RIDGE_H

#include <layshaft/base.h>

/* Dynamic programming (Viterbi 1967): path[frames] maximises the sum of score[frame * candidates + path] less a price
 * for moving, with at most `reach` candidates per step. Places within `clear` candidates of `avoid` (may be NULL) are
 * closed. candidates <= 65535. */
lay_status lay_ridge_find(const float *score, size_t frames, size_t candidates, size_t reach, double price,
                          const size_t *avoid, size_t clear, size_t *path, lay_error *err);
/* Sum of scores along a path shifted by `shift` candidates, round the ends. */
double lay_ridge_sum(const float *score, size_t frames, size_t candidates, const size_t *path, size_t shift);

#endif
