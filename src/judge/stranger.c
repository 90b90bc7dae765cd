#include "stranger.h"

#include <math.h>
#include <stdlib.h>

/* Every run is searched for the series that stands out most among the orders no bearing of the unit has. Where one
 * does, each body in turn is tried as the one it keeps step with: the right one brings the same series back in the
 * other gears. */

#define LOWEST 1.3
#define HIGHEST 14.0
#define FINE 0.003 /* orders from one trial to the next */
#define POINTS ((size_t)((HIGHEST - LOWEST) / FINE) + 1)
#define WORTH_DB 32.0 /* a series weaker than this in its best run is not followed up */
#define SURE 0.6      /* least probability to be spoken of */
#define PRIOR (-1.5)  /* log odds: it was looked for everywhere */
#define NEAR 0.025    /* orders so near to a known part's are that part's */
#define BLIND 0.025   /* how far a stated speed may be off */
#define EVERY 3       /* multiples and fractions of a known order that count as known */

typedef struct seen {
    double order, score;
    size_t run;
} seen;

static bool near(double a, double b, double share) {
    return b > 0 && fabs(a - b) < share * b;
}

/* True when `order`, or a multiple or a fraction of it, is a known part's, with or without its sidebands. */
static bool known_order(const lay_hypothesis_list *known, const lay_run_evidence *run, double order) {
    for (size_t i = 0; i < known->count; i++) {
        const lay_hypothesis *h = &known->items[i];
        if (!lay_hypothesis_strikes(h) || h->kind == LAY_KIND_CHIP) continue;
        const lay_expected *e = lay_hypothesis_expected(h, run);
        double at = lay_strike_order(h, run), share = NEAR + (e && e->tolerance > 0.02 ? e->tolerance : 0);
        if (h->kind == LAY_KIND_CAGE || h->multiple == 1) continue;
        for (int k = 1; k <= EVERY && at > 0; k++) {
            double swing = lay_strike_swing(h, run);
            if (near(order, k * at, share) || near(order, at / k, share) || near(order, k * at / 2, share)) return true;
            if (swing > 0 && (near(order, k * at + swing, share) || near(order, k * at - swing, share))) return true;
        }
    }
    return false;
}

/* True near a whole multiple of what turns, or of the engine's cycle: there the speed need only be a little off. */
static bool whole_order(const lay_run_evidence *run, double order) {
    const lay_kinematics *k = &run->kinematics;
    const lay_expected *engine = lay_run_engine(run);
    double slack = 2 * run->envelope.step + (run->speed_source == LAY_SPEED_TACH ? 1e-3 : BLIND) * order;
    for (size_t b = 1; b <= k->body_count; b++) {
        bool last = b == k->body_count;
        double turns = last ? (engine ? engine->cycle_order : 0) : k->free_body[b] ? 0 : fabs(k->speed[b].value);
        if (turns > 1e-3 && fabs(order - turns * round(order / turns)) < fmin(slack, 0.1 * turns)) return true;
    }
    return false;
}

/* The series that stands out most in one run. */
static seen strongest(const lay_hypothesis_list *known, const lay_run_evidence *run, size_t r, const lay_strikes *view,
                      float *scores) {
    seen best = {0, 0, r};
    size_t bands = lay_strikes_band_count(view);
    lay_strike_scores(view, LAY_STRIKE_RING, LOWEST, 0, FINE / LOWEST, POINTS, scores);
    for (size_t i = 0; i < POINTS; i++) {
        double most = 0;
        for (size_t b = 0; b < bands; b++) most = fmax(most, scores[b * POINTS + i]);
        double order = LOWEST + FINE * (double)i;
        if (most > best.score && !known_order(known, run, order) && !whole_order(run, order))
            best = (seen){order, most, r};
    }
    return best;
}

static lay_status scan(const lay_hypothesis_list *known, const lay_run_evidence *runs, size_t run_count, seen *best,
                       lay_error *err) {
    lay_status status = LAY_OK;
    *best = (seen){0};
    for (size_t r = 0; r < run_count && status == LAY_OK; r++) {
        lay_strikes *view = NULL;
        if (!runs[r].usable || runs[r].gear < 0) continue;
        status = lay_strikes_new(&runs[r], &view, err);
        if (status != LAY_OK || !view) continue;
        float *scores = lay_calloc(lay_strikes_band_count(view) * POINTS, sizeof *scores);
        if (!scores) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to look for unknown blows");
        seen here = scores ? strongest(known, &runs[r], r, view, scores) : *best;
        if (here.score > best->score) *best = here;
        free(scores);
        lay_strikes_free(view);
    }
    return status;
}

/* Each body that turns in the run that showed it. */
static lay_status propose(const lay_unit *unit, const lay_run_evidence *run, double order, lay_hypothesis_list *list,
                          lay_error *err) {
    lay_status status = LAY_OK;
    for (int b = 1; b < (int)unit->body_count && status == LAY_OK; b++) {
        double turns = run->kinematics.free_body[b] ? 0 : fabs(run->kinematics.speed[b].value);
        if (turns < 1e-6) continue;
        status = lay_grow((void **)&list->items, &list->capacity, list->count, sizeof *list->items, err);
        if (status == LAY_OK)
            list->items[list->count++] =
                (lay_hypothesis){LAY_KIND_OUTER, LAY_PART_BEARING, -1, b, 0, order / turns, false};
    }
    return status;
}

static void tell(const lay_run_evidence *runs, const lay_hypothesis *h, const lay_strike *at, const lay_score *score,
                 double probability, lay_stranger *out) {
    const lay_strike *best = &at[score->best_run];
    const lay_run_evidence *run = &runs[score->best_run];
    const lay_band *band = &run->envelope.bands[best->band];
    *out = (lay_stranger){.found = true,
                          .body = h->wheel,
                          .times = h->order * (1 + best->slip),
                          .probability = probability,
                          .runs = score->runs,
                          .best_run = score->best_run,
                          .low_hz = band->low_hz,
                          .high_hz = band->high_hz};
    out->order = lay_strike_order(h, run) * (1 + best->slip);
    out->hz = out->order * run->mean_hz;
    for (int k = 0; k < best->lines; k++) out->height_db = fmax(out->height_db, best->level_db[k]);
}

static double found_order(const lay_hypothesis *h, const lay_strike *at, const lay_run_evidence *runs, int r) {
    return lay_strike_order(h, &runs[r]) * (1 + at[r].slip);
}

/* The body in step with which it is there in the most runs and most plainly. */
static lay_status choose(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count, const seen *best,
                         lay_stranger *out, lay_error *err) {
    lay_hypothesis_list list = {0};
    lay_strike_table table = {0};
    lay_status status = propose(unit, &runs[best->run], best->order, &list, err);
    if (status == LAY_OK) status = lay_strikes_observe(unit, &list, runs, run_count, &table, err);
    lay_score *scores = lay_calloc(list.count + 1, sizeof *scores);
    if (status == LAY_OK && !scores) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for unknown blows");
    if (status == LAY_OK) {
        size_t first = 0;
        lay_strikes_score(&list, &table, runs, scores);
        for (size_t i = 1; i < list.count; i++)
            if (scores[i].odds > scores[first].odds) first = i;
        double probability = list.count && scores[first].observed ? lay_logistic(scores[first].odds + PRIOR) : 0;
        bool told = probability >= SURE && !whole_order(&runs[scores[first].best_run],
                                                        found_order(&list.items[first], lay_strike_of(&table, first, 0),
                                                                    runs, scores[first].best_run));
        if (told) tell(runs, &list.items[first], lay_strike_of(&table, first, 0), &scores[first], probability, out);
    }
    free(scores);
    free(list.items);
    lay_strike_table_free(&table);
    return status;
}

lay_status lay_stranger_find(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count,
                             const lay_hypothesis_list *known, const lay_strike_table *strikes, const lay_score *scores,
                             lay_stranger *out, lay_error *err) {
    seen best;
    (void)strikes;
    *out = (lay_stranger){0};
    for (size_t i = 0; i < known->count; i++)
        if (lay_hypothesis_strikes(&known->items[i]) && scores[i].probability > 0.3) return LAY_OK; /* explained */
    lay_status status = scan(known, runs, run_count, &best, err);
    return status == LAY_OK && best.score >= WORTH_DB ? choose(unit, runs, run_count, &best, out, err) : status;
}
