#include "pick.h"

#include <math.h>

static double merit(const lay_explained_line *l) {
    if (!(l->line.power > 0.0)) return -INFINITY;
    return 10.0 * log10(l->line.power) - (l->claim_count > 0 && l->claims[0].sideband != 0 ? 20.0 : 0.0);
}

#define LEAST_SHARE 0.3 /* a likeliest maker less likely than this is a guess */

bool lay_line_named(const lay_explained_line *line) {
    return line->claim_count > 0 && line->claims[0].class_ != LAY_LINE_UNKNOWN &&
           !(line->claims[0].probability < LEAST_SHARE);
}

/* Shafts are one maker together, and so are tones fixed in Hz, and lines nobody claims. */
static bool same_maker(const lay_explained_line *a, const lay_explained_line *b) {
    if (!lay_line_named(a) || !lay_line_named(b)) return lay_line_named(a) == lay_line_named(b);
    const lay_claim *x = &a->claims[0], *y = &b->claims[0];
    if (x->class_ != y->class_) return false;
    if (x->class_ == LAY_LINE_SHAFT || x->class_ == LAY_LINE_FIXED_HZ) return true;
    return x->part == y->part && (x->class_ != LAY_LINE_GHOST || x->body == y->body);
}

static bool wanted(const lay_explained_line *l, const lay_pick *pick, const lay_explained_line *const *out,
                   size_t count) {
    int of_maker = 0;
    if (pick->named && !lay_line_named(l)) return false;
    if (!(l->line.order <= pick->max_order)) return false;
    for (size_t i = 0; i < count; i++) {
        if (out[i] == l) return false;
        of_maker += same_maker(out[i], l);
    }
    return of_maker < pick->per_maker;
}

size_t lay_pick_lines(const lay_run_evidence *run, const lay_pick *pick, const lay_explained_line **out) {
    size_t count = 0;
    while (count < pick->limit) {
        const lay_explained_line *best = NULL;
        for (size_t i = 0; i < run->line_count; i++) {
            const lay_explained_line *l = &run->lines[i];
            if (wanted(l, pick, out, count) && (best == NULL || merit(l) > merit(best))) best = l;
        }
        if (best == NULL) break;
        out[count++] = best;
    }
    return count;
}
