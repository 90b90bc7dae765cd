#include "stranger.h"

#include <math.h>
#include <stdlib.h>

/* Asked for only where no listed part explains blows: every run is searched for the series that stands out most. Each
 * body in turn is tried as the one it keeps step with: the right one brings the same series back in the other gears. */

#define LOWEST 1.3
#define HIGHEST 14.0
#define FINE 0.003 /* orders from one trial to the next */
#define POINTS ((size_t)((HIGHEST - LOWEST) / FINE) + 1)
#define WORTH_DB 32.0   /* a series weaker than this in its best run is not followed up */
#define SURE 0.6        /* least probability to be spoken of */
#define PRIOR (-1.5)    /* log odds: it was looked for everywhere */
#define EXPLAINED 0.3   /* probability from which a listed part explains blows */
#define PLAINER_DB 12.0 /* but not where another series is so much plainer */
#define DOUBTED 0.25    /* what is left of the listed parts' probabilities then */
#define BLIND 0.025     /* how far a stated speed may be off */

typedef struct seen {
    double order, score;
    size_t run;
} seen;

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

/* True where teeth meet or vanes pass: that rattles and hums without any bearing. */
static bool toothed_order(const lay_run_evidence *run, double order) {
    double slack = 2 * run->envelope.step + 0.005 * order;
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if (!e->turning || e->type == LAY_PART_BEARING) continue;
        if (e->type != LAY_PART_ROTOR && e->order > 0 && fabs(order - e->order) < slack) return true;
        for (size_t m = 0; m < e->multiple_count; m++)
            if (fabs(order - e->multiples[m] * e->order) < slack) return true;
    }
    return false;
}

static double most_near(const float *scores, size_t bands, double order) {
    double most = 0;
    size_t low = (size_t)fmax(0, (0.995 * order - LOWEST) / FINE),
           high = (size_t)fmax(0, (1.005 * order - LOWEST) / FINE);
    for (size_t i = low; i <= high && i < POINTS; i++)
        for (size_t b = 0; b < bands; b++) most = fmax(most, scores[b * POINTS + i]);
    return most;
}

/* A multiple of the true order scores nearly as well; the lowest that does is meant. */
static double lowest_of(const float *scores, size_t bands, seen best) {
    for (int k = 3; k > 1; k--)
        if (best.order / k >= LOWEST && most_near(scores, bands, best.order / k) > 0.75 * best.score)
            return best.order / k;
    return best.order;
}

/* The series that stands out most in one run. */
static seen strongest(const lay_run_evidence *run, size_t r, const lay_strikes *view, float *scores) {
    seen best = {0, 0, r};
    size_t bands = lay_strikes_band_count(view);
    lay_strike_scores(view, LAY_STRIKE_RING, LOWEST, 0, FINE / LOWEST, POINTS, scores);
    for (size_t i = 0; i < POINTS; i++) {
        double most = 0;
        for (size_t b = 0; b < bands; b++) most = fmax(most, scores[b * POINTS + i]);
        double order = LOWEST + FINE * (double)i;
        if (most > best.score && !whole_order(run, order) && !toothed_order(run, order)) best = (seen){order, most, r};
    }
    best.order = lowest_of(scores, bands, best);
    return best;
}

static lay_status scan(const lay_run_evidence *runs, size_t run_count, seen *best, lay_error *err) {
    lay_status status = LAY_OK;
    *best = (seen){0};
    for (size_t r = 0; r < run_count && status == LAY_OK; r++) {
        lay_strikes *view = NULL;
        if (!runs[r].usable || runs[r].gear < 0) continue;
        status = lay_strikes_new(&runs[r], &view, err);
        if (status != LAY_OK || !view) continue;
        float *scores = lay_calloc(lay_strikes_band_count(view) * POINTS, sizeof *scores);
        if (!scores) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to look for unknown blows");
        seen here = scores ? strongest(&runs[r], r, view, scores) : *best;
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
        status = lay_strikes_score(&list, &table, runs, scores, err);
        for (size_t i = 1; i < list.count; i++)
            if (scores[i].odds > scores[first].odds) first = i;
        double probability = list.count && scores[first].observed ? lay_logistic(scores[first].odds + PRIOR) : 0;
        int r = scores[first].best_run;
        /* where the speed is a guess the slip may have carried it on to a whole order */
        bool told = probability >= SURE &&
                    (runs[r].speed_source == LAY_SPEED_TACH || runs[r].speed_confidence >= 0.5 ||
                     !whole_order(&runs[r], found_order(&list.items[first], lay_strike_of(&table, first, 0), runs, r)));
        if (told) tell(runs, &list.items[first], lay_strike_of(&table, first, 0), &scores[first], probability, out);
    }
    free(scores);
    free(list.items);
    lay_strike_table_free(&table);
    return status;
}

/* The listed part that explains blows best; list->count when none is likely. */
static size_t likeliest(const lay_hypothesis_list *known, const lay_score *scores) {
    size_t best = known->count;
    for (size_t i = 0; i < known->count; i++)
        if (lay_hypothesis_strikes(&known->items[i]) && scores[i].probability > EXPLAINED &&
            (best == known->count || scores[i].probability > scores[best].probability))
            best = i;
    return best;
}

/* A part of the list explains the blows when the series that stands out most is its own, or hardly plainer than its
 * own. */
static bool explains(const lay_hypothesis *h, const lay_strike *at, const lay_run_evidence *runs, const seen *best) {
    if (h->kind == LAY_KIND_CHIP || !at[best->run].valid) return true;
    return best->score < at[best->run].score + PLAINER_DB ||
           lay_strike_covers(h, &at[best->run], &runs[best->run], best->order);
}

lay_status lay_stranger_find(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count,
                             const lay_hypothesis_list *known, const lay_strike_table *strikes, lay_score *scores,
                             lay_stranger *out, lay_error *err) {
    seen best;
    *out = (lay_stranger){0};
    size_t first = likeliest(known, scores);
    lay_status status = scan(runs, run_count, &best, err);
    if (status != LAY_OK || best.score < WORTH_DB) return status;
    if (first < known->count && explains(&known->items[first], lay_strike_of(strikes, first, 0), runs, &best))
        return LAY_OK;
    status = choose(unit, runs, run_count, &best, out, err);
    for (size_t i = 0; i < known->count && status == LAY_OK && out->found; i++)
        if (lay_hypothesis_strikes(&known->items[i])) scores[i].probability *= DOUBTED;
    return status;
}
