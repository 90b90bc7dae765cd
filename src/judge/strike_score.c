#include "strike_odds.h"

#include <math.h>
#include <stdlib.h>

/* What one hypothesis that strikes explains of another, and the scores that come of it. */

#define APART 8.0 /* log odds by which rivals for the same lines can differ */

typedef struct explanation {
    const lay_hypothesis *self, *other;
    const lay_strike *self_at, *other_at; /* of all runs */
    const lay_run_evidence *runs;
} explanation;

#define EVEN_DB 6.0 /* lines of one series differ by so much */

bool lay_strike_covers(const lay_hypothesis *h, const lay_strike *at, const lay_run_evidence *run, double order) {
    double base = lay_strike_order(h, run) * (1 + at->slip);
    double tolerance = 2 * run->envelope.step + 0.003 * order;
    if (base <= 0) return false;
    bool whole = h->kind == LAY_KIND_CHIP || h->kind == LAY_KIND_CAGE;
    double swing = lay_strike_swing(h, run);
    int sides = swing > 0 ? 2 : 0;
    for (int n = -sides; n <= sides; n++) {
        double left = order - n * swing, k = round(left / base);
        if (k < 1 || (!whole && k > 8)) continue;
        if (fabs(left - k * base) < fmin(tolerance, 0.2 * base)) return true;
    }
    /* An element strikes both rings: half its order is there as well; a swing makes its own order and the double. */
    return (swing > 0 && (fabs(order - swing) < tolerance || fabs(order - 2 * swing) < tolerance)) ||
           (h->kind == LAY_KIND_ELEMENT && h->multiple == 0 && fabs(order - base / 2) < tolerance);
}

/* Level that `self` makes at a line it covers; blows make all lines alike, of slipping series the first three are
 * known. */
static double made_by(const explanation *x, size_t r) {
    const lay_strike *at = &x->self_at[r];
    if (x->self->kind == LAY_KIND_CHIP || x->self->kind == LAY_KIND_CAGE) return at->score + EVEN_DB;
    return fmax(at->level_db[0], fmax(at->level_db[1], at->level_db[2])) + EVEN_DB;
}

/* Level of `other` in run r that `self` makes. */
static double taken_in(const explanation *x, size_t r) {
    const lay_strike *at = &x->other_at[r];
    if (!at->valid || !x->self_at[r].valid) return 0;
    double order = lay_strike_order(x->other, &x->runs[r]) * (1 + at->slip), made = made_by(x, r), taken = 0;
    bool series = x->other->kind == LAY_KIND_CHIP || x->other->kind == LAY_KIND_CAGE;
    int lines = series ? 8 : LAY_STRIKE_RING_LINES, covered = 0, known = 0;
    for (int k = 1; k <= lines && k <= at->lines; k++) {
        double level = at->level_db[k - 1];
        if (isnan(level)) continue;
        known++;
        if (!lay_strike_covers(x->self, &x->self_at[r], &x->runs[r], k * order)) continue;
        covered += lay_strike_rest(level, made) < 0.7 * level;
        if (!series) taken += lay_strike_weight(k) * (level - lay_strike_rest(level, made));
    }
    if (series) return 2 * covered > known ? at->score : 0;
    return covered ? taken + fmin(LAY_STRIKE_SIDE_DB, at->side_db) : 0;
}

static double left_of(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                      size_t other, size_t self) {
    explanation x = {&list->items[self], &list->items[other], lay_strike_of(table, self, 0),
                     lay_strike_of(table, other, 0), runs};
    const lay_strike_common *c = lay_strike_common_of(table, other);
    double taken = 0;
    int n = 0;
    for (size_t r = 0; r < table->runs; r++)
        if (lay_strike_counts(x.other, c, &x.other_at[r], &runs[r])) taken += taken_in(&x, r), n++;
    return lay_strike_odds(x.other, c, x.other_at, runs, table->runs, n ? taken / n : 0);
}

double lay_strikes_left(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                        size_t other, size_t self, const lay_score *scores) {
    if (!lay_hypothesis_strikes(&list->items[self])) return scores[other].odds;
    return fmax(-LAY_STRIKE_CLAMP, fmin(scores[other].odds, left_of(list, table, runs, other, self)));
}

/* Log odds are cut off where more would say nothing more; which of several that explain the same is the best must not
 * be lost by that. */
static void cut_odds(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                     const double *alone, size_t self, lay_score *scores) {
    double best = alone[self];
    for (size_t i = 0; i < list->count; i++) {
        if (i == self || !lay_hypothesis_strikes(&list->items[i]) || alone[i] <= best) continue;
        if (left_of(list, table, runs, self, i) < alone[self] - 1) best = alone[i];
    }
    scores[self].odds = fmin(LAY_STRIKE_CLAMP, best) - fmin(APART, best - alone[self]);
}

lay_status lay_strikes_score(const lay_hypothesis_list *list, const lay_strike_table *table,
                             const lay_run_evidence *runs, lay_score *scores, lay_error *err) {
    double *alone = lay_calloc(list->count + 1, sizeof *alone);
    if (!alone) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to weigh the bearings");
    for (size_t i = 0; i < list->count; i++) {
        if (!lay_hypothesis_strikes(&list->items[i])) continue;
        scores[i] = lay_strike_score(&list->items[i], lay_strike_common_of(table, i), lay_strike_of(table, i, 0), runs,
                                     table->runs);
        alone[i] = scores[i].odds;
    }
    for (size_t i = 0; i < list->count; i++)
        if (lay_hypothesis_strikes(&list->items[i]) && alone[i] > -2) cut_odds(list, table, runs, alone, i, scores);
    free(alone);
    return LAY_OK;
}

#define SAME_DB 6.0    /* a twin shows as plainly, but for what its slip speaks against it */
#define SAME_SLIP 0.02 /* or the tolerance of its multiples */
#define SAME_ORDER 0.002
#define TIE 1.0 /* log odds */

/* Teeth of wheels that turn alike, where the runs with and without load on either leave both as likely. */
static bool chips_tie(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                      size_t a, size_t b) {
    const lay_hypothesis *x = &list->items[a], *y = &list->items[b];
    for (size_t r = 0; r < table->runs; r++)
        if (fabs(lay_strike_order(x, &runs[r]) - lay_strike_order(y, &runs[r])) > 1e-6) return false;
    double odds[2];
    for (int i = 0; i < 2; i++) {
        size_t h = i ? b : a;
        odds[i] = lay_strike_contrast(&list->items[h], lay_strike_common_of(table, h), lay_strike_of(table, h, 0), runs,
                                      table->runs);
    }
    return fabs(odds[0] - odds[1]) < TIE;
}

bool lay_strikes_inseparable(const lay_hypothesis_list *list, const lay_strike_table *table,
                             const lay_run_evidence *runs, size_t a, size_t b) {
    const lay_hypothesis *x = &list->items[a], *y = &list->items[b];
    const lay_strike_common *cx = lay_strike_common_of(table, a), *cy = lay_strike_common_of(table, b);
    if (x->kind != y->kind || x->multiple != y->multiple || cx->runs == 0 || cy->runs == 0) return false;
    if (x->kind == LAY_KIND_CHIP) return chips_tie(list, table, runs, a, b);
    if (cy->score < cx->score - SAME_DB) return false;
    for (size_t r = 0; r < table->runs; r++) {
        const lay_strike *at = lay_strike_of(table, a, r), *other = lay_strike_of(table, b, r);
        if (at->valid != other->valid) return false;
        if (!at->valid) continue;
        double here = lay_strike_order(x, &runs[r]) * (1 + at->slip), there = lay_strike_order(y, &runs[r]);
        const lay_expected *e = lay_hypothesis_expected(y, &runs[r]);
        double slip = here / there - 1, limit = fmax(SAME_SLIP, e ? e->tolerance : 0);
        if (fabs(slip) > limit + SAME_ORDER + 2 * runs[r].envelope.step / there) return false;
        if (fabs(lay_strike_swing(x, &runs[r]) - lay_strike_swing(y, &runs[r])) > 1e-6 && x->kind != LAY_KIND_ELEMENT)
            return false;
    }
    return true;
}
