/* The words for faults that strike: bearing defects and chipped teeth. */
#ifndef LAYSHAFT_JUDGE_STRIKE_WORDS_H
#define LAYSHAFT_JUDGE_STRIKE_WORDS_H

#include "words.h"

#define LAY_STRIKE_GEOMETRY                                                                                            \
    0.021 /* a bearing whose multiples are less certain is known by its number of elements alone */

/* Why the part is suspected; `f->strike` must be set. */
lay_status lay_strike_reasons(const lay_finding *f, lay_strings *out, lay_error *err);
/* What speaks against it; part of the reasons. `e`: the part in the run that shows it best. */
lay_status lay_strike_doubts(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err);
/* What to look at when the unit is opened, and before. */
lay_status lay_strike_checks(const lay_finding *f, lay_strings *out, lay_error *err);

/* True for a damaged element that shows only by the swing of its cage, not by blows of its own. */
bool lay_strike_swings_only(const lay_finding *f);

/* What the blows are counted by: a wheel, or what lay_bearing_turner says. */
lay_turner lay_strike_turner(const lay_finding *f, const lay_expected *e);

/* Levels of the multiples that are known: how many, their mean and range. */
typedef struct lay_heights {
    int known;
    double mean, low, high;
} lay_heights;
lay_heights lay_strike_heights(const lay_blows *blows);

#endif
