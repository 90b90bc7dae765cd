#include "strikes.h"

#include <math.h>
#include <stdlib.h>

/* From the envelope spectra of all runs to log odds, derived here (no publication claimed).
 *
 * A fault that strikes is there in every run in which its part turns under load. In one run alone a series of lines
 * comes about by chance or by something else now and then, in several at the same slip and in the same band it does
 * not: the threshold falls with the number of runs. Its level is taken against what orders without any part reach in
 * the same way. Constants were set on simulated jobs and on open records, and are checked on fresh jobs
 * (docs/accuracy.md). */

#define CLAMP 9.0
#define APART 8.0 /* log odds by which rivals for the same lines can differ */

/* Bearings: levels in dB, three lines weighing 1, 0.7 and 0.5. */
#define RING_DB 6.5
#define RING_FEW_DB 3.0    /* over the number of runs */
#define RING_ALONE_DB 20.5 /* over its square */
#define RING_SLOPE 0.7
#define ELSEWHERE 0.95
#define ELSEWHERE_MOST_DB 26.0 /* a strong fault's own sidebands are everywhere */
#define SIDE_MOST_DB 15.0
#define SWING_DB 15.0 /* the same for an element that only the cage's swing shows */
#define SWING_ALONE_DB 13.5

/* Cages and locked wheels: level that the lines of the series have. */
#define CAGE_DB 0.4
#define CAGE_ALONE_DB 3.0
#define CAGE_SLOPE 2.5
#define CAGE_ELSEWHERE 1.9
#define CHIP_DB 5.0
#define CHIP_FEW_DB 5.0
#define CHIP_SLOPE 0.9
#define CHIP_QUIET 0.6 /* of the level in runs in which the tooth should not strike */
#define CRANK_DB 3.0   /* more for a body that turns with the crank: no two cylinders tick alike */
#define ONE_FLANK 0.7
#define WIDE 1.0 /* log odds: multiples known to ten per cent fit the blows of other parts as well */

static double prior(const lay_hypothesis *h) {
    if (h->kind == LAY_KIND_ELEMENT) return h->multiple == 1 ? -0.5 : -0.3;
    return h->kind == LAY_KIND_CAGE ? -0.5 : 0;
}

/* ---- one hypothesis ---- */

static bool counts(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                   const lay_run_evidence *run) {
    return at->valid && lay_strike_expected(h, run, c->flank);
}

/* The first lines of a series that a cage makes by swinging the load stand out from the rest; blows are all alike. */
static double decay(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                    const lay_run_evidence *runs, size_t run_count) {
    double sum = 0;
    int n = 0;
    for (size_t r = 0; r < run_count; r++) {
        if (!counts(h, c, &at[r], &runs[r])) continue;
        double late = 0;
        for (int k = 4; k < 8; k++) late += at[r].level_db[k] / 4;
        sum += at[r].level_db[0] - late;
        n++;
    }
    return n ? sum / n : 0;
}

/* Mean level in the runs in which a chipped tooth should not strike. */
static double quiet_level(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                          const lay_run_evidence *runs, size_t run_count, int *quiet_runs) {
    double sum = 0;
    *quiet_runs = 0;
    for (size_t r = 0; r < run_count; r++)
        if (at[r].valid && !lay_strike_expected(h, &runs[r], c->flank)) sum += at[r].score, (*quiet_runs)++;
    return *quiet_runs ? sum / *quiet_runs : 0;
}

/* True when the body turns with the crank of an engine that the unit has. */
static bool with_crank(const lay_hypothesis *h, const lay_run_evidence *runs, size_t run_count) {
    for (size_t r = 0; r < run_count; r++) {
        const lay_expected *engine = lay_run_engine(&runs[r]);
        double order = lay_strike_order(h, &runs[r]), cycles = engine ? order / engine->cycle_order : 0;
        if (cycles > 0.5 && fabs(cycles - round(cycles)) < 1e-3) return true;
    }
    return false;
}

/* Log odds when `taken` dB of the level are explained otherwise. */
static double odds_of(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                      const lay_run_evidence *runs, size_t run_count, double taken) {
    if (c->runs == 0) return -CLAMP;
    double alone = 1.0 / c->runs, level = c->score - taken, flank = c->flank != LAY_FLANK_ANY ? ONE_FLANK : 0;
    int quiet_runs;
    switch (h->kind) {
    case LAY_KIND_CHIP:
        level -= CHIP_QUIET * fmax(0, quiet_level(h, c, at, runs, run_count, &quiet_runs));
        if (with_crank(h, runs, run_count)) level -= CRANK_DB;
        return CHIP_SLOPE * (level - CHIP_DB - CHIP_FEW_DB * alone) - flank;
    case LAY_KIND_CAGE:
        level -= CAGE_ELSEWHERE * c->elsewhere + fmax(0, fmin(6, 0.5 * (decay(h, c, at, runs, run_count) - 6)));
        return CAGE_SLOPE * (level - CAGE_DB - CAGE_ALONE_DB * alone * alone) + prior(h) - flank;
    default:
        flank += WIDE * (c->wide ? 1 : 0);
        if (h->multiple == 1)
            return RING_SLOPE * (level - SWING_DB - SWING_ALONE_DB * alone * alone) + prior(h) - flank;
        level += fmin(SIDE_MOST_DB, h->kind == LAY_KIND_OUTER ? 0 : c->side_db) -
                 fmin(ELSEWHERE_MOST_DB, ELSEWHERE * c->elsewhere);
        return RING_SLOPE * (level - RING_DB - RING_FEW_DB * alone - RING_ALONE_DB * alone * alone) + prior(h) - flank;
    }
}

double lay_strike_contrast(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                           const lay_run_evidence *runs, size_t run_count) {
    return odds_of(h, c, at, runs, run_count, 0);
}

static lay_score score_one(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                           const lay_run_evidence *runs, size_t run_count) {
    lay_score s = {.odds = -CLAMP, .level_db = -20, .quiet_db = NAN, .best_run = -1, .flank = c->flank};
    double best = -INFINITY;
    int quiet_runs;
    if (c->runs == 0) return s;
    for (size_t r = 0; r < run_count; r++)
        if (counts(h, c, &at[r], &runs[r]) && at[r].score > best) best = at[r].score, s.best_run = (int)r;
    s.observed = true;
    s.runs = c->runs;
    s.level_db = c->score;
    s.quiet_db = quiet_level(h, c, at, runs, run_count, &quiet_runs);
    if (quiet_runs == 0) s.quiet_db = NAN;
    s.odds = fmax(-CLAMP, odds_of(h, c, at, runs, run_count, 0));
    return s;
}

/* ---- what one explains of another ---- */

typedef struct explanation {
    const lay_hypothesis *self, *other;
    const lay_strike *self_at, *other_at; /* of all runs */
    const lay_run_evidence *runs;
} explanation;

#define EVEN_DB 6.0 /* lines of one series differ by so much */

static bool covers(const explanation *x, size_t r, double order) {
    const lay_run_evidence *run = &x->runs[r];
    double base = lay_strike_order(x->self, run) * (1 + x->self_at[r].slip);
    double tolerance = 2 * run->envelope.step + 0.003 * order;
    if (base <= 0) return false;
    bool whole = x->self->kind == LAY_KIND_CHIP || x->self->kind == LAY_KIND_CAGE;
    double swing = lay_strike_swing(x->self, run);
    int sides = swing > 0 ? 2 : 0;
    for (int n = -sides; n <= sides; n++) {
        double left = order - n * swing, k = round(left / base);
        if (k < 1 || (!whole && k > 8)) continue;
        if (fabs(left - k * base) < fmin(tolerance, 0.2 * base)) return true;
    }
    /* An element strikes both rings: half its order is there as well; a swing makes its own order and the double. */
    return (swing > 0 && (fabs(order - swing) < tolerance || fabs(order - 2 * swing) < tolerance)) ||
           (x->self->kind == LAY_KIND_ELEMENT && x->self->multiple == 0 && fabs(order - base / 2) < tolerance);
}

/* Level that `self` makes at a line it covers; blows make all lines alike, of slipping series the first three are
 * known. */
static double made_by(const explanation *x, size_t r) {
    const lay_strike *at = &x->self_at[r];
    if (x->self->kind == LAY_KIND_CHIP || x->self->kind == LAY_KIND_CAGE) return at->score + EVEN_DB;
    return fmax(at->level_db[0], fmax(at->level_db[1], at->level_db[2])) + EVEN_DB;
}

static double rest(double level, double made) {
    return level > made ? fmax(0, level + 10 * log10(1 - pow(10, (made - level) / 10))) : 0;
}

/* Level of `other` in run r that `self` makes. */
static double taken_in(const explanation *x, size_t r) {
    static const double weight[] = {1, 0.7, 0.5};
    const lay_strike *at = &x->other_at[r];
    if (!at->valid || !x->self_at[r].valid) return 0;
    double order = lay_strike_order(x->other, &x->runs[r]) * (1 + at->slip), made = made_by(x, r), taken = 0;
    bool series = x->other->kind == LAY_KIND_CHIP || x->other->kind == LAY_KIND_CAGE;
    int lines = series ? 8 : 3, covered = 0;
    for (int k = 1; k <= lines && k <= at->lines; k++) {
        double level = at->level_db[k - 1];
        if (isnan(level) || !covers(x, r, k * order)) continue;
        covered += rest(level, made) < 0.7 * level;
        if (!series) taken += weight[k - 1] * (level - rest(level, made));
    }
    if (series) return covered > lines / 2 ? at->score : 0;
    return covered ? taken + fmin(SIDE_MOST_DB, at->side_db) : 0;
}

static double left_of(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                      size_t other, size_t self) {
    explanation x = {&list->items[self], &list->items[other], lay_strike_of(table, self, 0),
                     lay_strike_of(table, other, 0), runs};
    const lay_strike_common *c = lay_strike_common_of(table, other);
    double taken = 0;
    int n = 0;
    for (size_t r = 0; r < table->runs; r++)
        if (counts(x.other, c, &x.other_at[r], &runs[r])) taken += taken_in(&x, r), n++;
    return odds_of(x.other, c, x.other_at, runs, table->runs, n ? taken / n : 0);
}

double lay_strikes_left(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                        size_t other, size_t self, const lay_score *scores) {
    if (!lay_hypothesis_strikes(&list->items[self])) return scores[other].odds;
    return fmax(-CLAMP, fmin(scores[other].odds, left_of(list, table, runs, other, self)));
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
    scores[self].odds = fmin(CLAMP, best) - fmin(APART, best - alone[self]);
}

void lay_strikes_score(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                       lay_score *scores) {
    double *alone = lay_calloc(list->count + 1, sizeof *alone);
    for (size_t i = 0; i < list->count; i++) {
        if (!lay_hypothesis_strikes(&list->items[i])) continue;
        scores[i] =
            score_one(&list->items[i], lay_strike_common_of(table, i), lay_strike_of(table, i, 0), runs, table->runs);
        if (alone) alone[i] = scores[i].odds;
    }
    for (size_t i = 0; alone && i < list->count; i++)
        if (lay_hypothesis_strikes(&list->items[i]) && alone[i] > -2) cut_odds(list, table, runs, alone, i, scores);
    free(alone);
}

#define SAME_DB 6.0    /* a twin shows as plainly, but for what its slip speaks against it */
#define SAME_SLIP 0.02 /* or the tolerance of its multiples */
#define SAME_ORDER 0.002

bool lay_strikes_inseparable(const lay_hypothesis_list *list, const lay_strike_table *table,
                             const lay_run_evidence *runs, size_t a, size_t b) {
    const lay_hypothesis *x = &list->items[a], *y = &list->items[b];
    const lay_strike_common *cx = lay_strike_common_of(table, a), *cy = lay_strike_common_of(table, b);
    if (x->kind != y->kind || x->multiple != y->multiple || cx->runs == 0 || cy->runs == 0) return false;
    if (x->kind == LAY_KIND_CHIP) return lay_strikes_alike(x, y, runs, table->runs);
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
