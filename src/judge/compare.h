/* Steps of a comparison; private to the stage. */
#ifndef LAYSHAFT_JUDGE_COMPARE_H
#define LAYSHAFT_JUDGE_COMPARE_H

#include "change.h"

/* What one part did in one shared condition. */
typedef struct lay_case {
    lay_estimate estimate;
    lay_line_pair *lines; /* [count] that stand out of the noise before or after */
    size_t count;
} lay_case;

typedef struct lay_comparing {
    const lay_measured *before, *after;
    lay_comparison *out;
    lay_overlap *overlaps; /* [out->shared_count] */
    lay_case *cases;       /* [out->part_count * out->shared_count] */
    double repeat_dof;
} lay_comparing;

static inline lay_case *lay_case_at(const lay_comparing *c, size_t part, size_t shared) {
    return &c->cases[part * c->out->shared_count + shared];
}

/* compare_shared.c: refuse what cannot be compared; find conditions both hold; tell what one of them lacks. */
lay_status lay_compare_shared(lay_comparing *c, lay_error *err);
/* compare_blows.c: a bearing in one shared condition. The level of blows goes with the root of the power of their lines
 * in the envelope spectrum, whose noise goes with the power of the band. */
void lay_compare_blows(const lay_comparing *c, const char *bearing, size_t shared, lay_estimate *out);
/* compare_told.c: what differs besides. */
lay_status lay_compare_told(lay_comparing *c, lay_error *err);
/* compare_level.c: out->repeat_db; then the change of every part from its cases. */
void lay_compare_repeat(lay_comparing *c);
void lay_compare_change(const lay_comparing *c, const lay_estimate *estimates, const bool *there, lay_change *out);
/* compare_verdict.c: verdicts, reasons, summary. */
lay_status lay_compare_verdict(lay_comparing *c, lay_error *err);

#endif
