/* Limits from rises; private to the stage. */
#ifndef LAYSHAFT_JUDGE_LIMITS_H
#define LAYSHAFT_JUDGE_LIMITS_H

#include "rises.h"

/* Limits of the rises; those with too few units, or of single lines in single conditions, have none: limit_db NaN. One
 * per rise. */
lay_status lay_limits_of(const lay_rises *rises, lay_limit **out, lay_error *err);
/* The limit that a unit comes nearest to or surpasses most: index into rises; count when there is none. */
size_t lay_limits_worst(const lay_baseline *baseline, const lay_rises *rises, const lay_limit *limits, size_t unit,
                        const char *part, double *margin_db);

#endif
