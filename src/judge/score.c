#include "kinds.h"
#include "strikes.h"

#include <math.h>
#include <stdlib.h>

/* The model, derived here (no publication claimed):
 *
 * A part's level is the mean tone-to-noise ratio of its strongest group of lines, raised a little by its other groups,
 * over the runs in which it should sing.
 * Healthy parts have levels scattered about the unit's own common level; a fault lifts one part out of that population.
 * The log odds of "fault" against "healthy" are taken as linear in the level between two clamps, with a threshold that
 * follows the unit's common level a little (a unit that hums all over is not a unit with ten faults). Runs in which the
 * part carries no torque, or carries it on the other flank, must be quieter. Then parts compete: of two hypotheses that
 * explain the same lines the one that leaves less unexplained wins. Constants were set on simulated jobs and are
 * checked on fresh ones (docs/accuracy.md). */

#define THRESHOLD_DB 4.2 /* level at which fault and healthy are equally likely, typical unit */
#define COMMON_DB (-6.0) /* common level of a typical unit's meshes */
#define FOLLOW 0.25      /* how far the threshold follows the unit's common level */
#define SLOPE 1.3        /* log odds per dB */
#define CLAMP 9.0
#define ONLY_RUN 0.5     /* one recording alone may have met a resonance */
#define ONLY_GHOST 2.0   /* a ghost was looked for among many lines: one recording alone is chance more easily */
#define AGAIN 0.25       /* each further run that shows it */
#define BLIND 8.0        /* runs in which the engine covers the place do not confirm it */
#define UNLOADED_DB 6.0  /* a mesh without torque is at least so much quieter */
#define NARROW_DB 2.5    /* at one speed alone a resonance may lift a healthy line */
#define SECOND_FAULT 3.2 /* log odds against a second fault in the same unit (some 4 %) */
#define FAULT_AND_OUTSIDE                                                                                              \
    1.5 /* against a fault beside a noise from outside, which many a sound unit has (some 20 %)                        \
         */

typedef struct flank_level {
    double level, spread, quiet, quiet_spread; /* the last over loaded runs of the other flank */
    int runs, quiet_runs, blind_runs, best_run, group;
    bool swept; /* at least one run moved through speeds */
} flank_level;

/* Where the stated speed could not be confirmed, a line that is not found says nothing: it may be beside its place. */
static bool says_nothing(const lay_run_evidence *run, const lay_observation *o) {
    if (!lay_run_trusted(run)) return true;
    return run->speed_source != LAY_SPEED_TACH && run->speed_confidence < 0.5 && o->level_db < 3;
}

static bool sings_on(lay_flank flank, lay_load load) {
    if (flank == LAY_FLANK_ANY) return true;
    if (flank == LAY_FLANK_DRIVE) return load != LAY_LOAD_COAST;
    return load == LAY_LOAD_COAST || load == LAY_LOAD_UNKNOWN;
}

/* A mesh without torque is not silent, but it does not explain a line as strong as its own under load. */
static bool too_loud_for(const lay_taken *taken, const lay_run_evidence *run, const lay_observation *o) {
    if (taken->by->type != LAY_PART_MESH || taken->by->index < 0) return false;
    const lay_expected *e = lay_hypothesis_expected(taken->by, run);
    bool loaded = e && e->loaded && run->load != LAY_LOAD_NONE;
    return !loaded && o->level_db > taken->level_db - UNLOADED_DB;
}

static bool is_taken(const lay_taken *taken, const lay_run_evidence *run, const lay_observation *o) {
    if (!taken->by || too_loud_for(taken, run, o)) return false;
    if (!lay_hypothesis_explains(taken->unit, taken->by, run, o->order[0])) {
        if (o->order[1] == o->order[0]) return false;
        return lay_hypothesis_explains(taken->unit, taken->by, run, o->order[1]);
    }
    return true;
}

/* A whine has harmonics, and all together tell more than the strongest alone; but sound meshes have them too, so only
 * half of what the others add counts. */
static double joint_level(const lay_observations *obs, size_t h, size_t r, int group, const lay_run_evidence *run,
                          const lay_taken *taken) {
    double own = lay_observation_at(obs, h, r, group)->level_db, sum = 0;
    for (int g = 0; g < LAY_GROUPS; g++) {
        const lay_observation *o = lay_observation_at(obs, h, r, g);
        if (o->valid && (g == group || !is_taken(taken, run, o))) sum += pow(10, o->level_db / 10);
    }
    return 0.5 * (own + lay_db_power(sum));
}

/* Mean and spread of one group over the runs of one flank; runs without torque go to `quiet`. */
static flank_level group_level(const lay_observations *obs, size_t h, bool h_is_ghost, int group, lay_flank flank,
                               const lay_run_evidence *runs, const lay_taken *taken) {
    flank_level f = {.best_run = -1, .group = group};
    double sum = 0, square = 0, quiet = 0, best = -1e9, other = 0, other_square = 0;
    int others = 0;
    for (size_t r = 0; r < obs->runs; r++) {
        const lay_observation *o = lay_observation_at(obs, h, r, group);
        bool sings = obs->loaded[h * obs->runs + r] && sings_on(flank, runs[r].load);
        f.blind_runs += sings && o->tone.valid && !o->valid;
        if (!o->valid || says_nothing(&runs[r], o) || is_taken(taken, &runs[r], o)) continue;
        double x = fmax(-20, joint_level(obs, h, r, group, &runs[r], taken));
        if (!sings) {
            if (h_is_ghost && o->tone.significance > 4) x = fmax(x, o->tone.tnr_db); /* beside its place or not */
            quiet += x;
            f.quiet_runs++;
            if (obs->loaded[h * obs->runs + r]) other += x, other_square += x * x, others++;
            continue;
        }
        x = fmax(x, -12);
        sum += x;
        square += x * x;
        f.runs++;
        f.swept = f.swept || runs[r].max_hz > 1.12 * runs[r].min_hz;
        if (o->level_db > best) best = o->level_db, f.best_run = (int)r;
    }
    f.level = f.runs ? sum / f.runs : -20;
    f.spread = f.runs > 1 ? sqrt(fmax(0, (square - sum * f.level) / (f.runs - 1))) : 0;
    if (others > 1) f.quiet_spread = sqrt(fmax(0, (other_square - other * other / others) / (others - 1)));
    f.quiet = f.quiet_runs ? quiet / f.quiet_runs : NAN;
    return f;
}

/* A part that sings without torque as loudly as with it is less likely to be a mesh. */
static double load_penalty(const lay_hypothesis *h, const flank_level *f) {
    if (h->kind == LAY_KIND_OUTSIDE || isnan(f->quiet)) return 0;
    double drop = f->level - f->quiet;
    double per_db = h->kind == LAY_KIND_GHOST ? 0.5 : 0.2; /* a stranger looks like a ghost, but knows no load */
    double expected = h->kind == LAY_KIND_GHOST ? 7 : 4;
    return drop < expected ? per_db * fmin(10, expected - drop) : 0;
}

static double log_odds(const lay_hypothesis *h, const flank_level *f, double threshold) {
    double odds = fmin(CLAMP, SLOPE * (f->level - threshold - (f->swept ? 0 : NARROW_DB)));
    double blind = (double)f->blind_runs / (f->blind_runs + f->runs);
    odds -= 0.25 * fmax(0, f->spread - 4) + load_penalty(h, f) +
            (f->runs == 1 ? (h->kind == LAY_KIND_GHOST ? ONLY_GHOST : ONLY_RUN) : 0);
    odds -= 0.15 * fmax(0, f->quiet_spread - 4) + BLIND * blind * blind;
    return fmax(-CLAMP, fmin(CLAMP, odds)) + AGAIN * fmin(4, f->runs - 1);
}

static double prior(const lay_hypothesis *h) {
    if (h->index < 0) return -1.5 - (h->by_output ? 0.5 : 0);
    if (h->kind == LAY_KIND_GHOST) return -0.7; /* hitting a whole number by chance is rare */
    if (h->kind == LAY_KIND_ECCENTRIC) return -0.5;
    return 0;
}

static void score_one(const lay_hypothesis *h, size_t index, const lay_observations *obs, const lay_run_evidence *runs,
                      const lay_taken *taken, double threshold, lay_score *out) {
    *out = (lay_score){.odds = -CLAMP, .level_db = -20, .quiet_db = NAN, .best_run = -1};
    for (int g = 0; g < LAY_GROUPS; g++)
        for (int flank = LAY_FLANK_ANY; flank <= LAY_FLANK_COAST; flank++) {
            if (h->index < 0 && flank != LAY_FLANK_ANY) continue; /* nothing is known of a stranger's load */
            flank_level f = group_level(obs, index, h->kind == LAY_KIND_GHOST, g, (lay_flank)flank, runs, taken);
            if (f.runs == 0) continue;
            double odds = log_odds(h, &f, threshold) + prior(h) - (flank != LAY_FLANK_ANY ? 0.7 : 0);
            if (out->observed && odds <= out->odds) continue;
            *out = (lay_score){true, (lay_flank)flank, g, f.level, f.quiet, f.spread, f.runs, f.best_run, odds, 0, 0};
        }
}

/* Median level of the unit's meshes, the loudest left out; the typical value when there are fewer than three. */
static double common_level(const lay_hypothesis_list *list, const lay_score *scores) {
    double level[128];
    size_t n = 0;
    for (size_t i = 0; i < list->count && n < 128; i++)
        if (list->items[i].kind == LAY_KIND_MESH && scores[i].observed) level[n++] = scores[i].level_db;
    return n >= 3 ? lay_quantile(level, n, 0.4) : COMMON_DB;
}

/* Parts that make the same lines in every run, and fit them as well, share one chance of being at fault. */
static void share_between_twins(const lay_unit *unit, const lay_hypothesis_list *list, const lay_run_evidence *runs,
                                size_t run_count, lay_score *scores, double *share) {
    for (size_t i = 0; i < list->count; i++) {
        double sum = 1;
        for (size_t j = 0; j < list->count; j++)
            if (i != j && list->items[i].kind == list->items[j].kind && scores[j].odds > -CLAMP + 1 &&
                lay_hypotheses_same_lines(unit, &list->items[i], &list->items[j], runs, run_count))
                sum += exp(fmin(0, scores[j].odds - scores[i].odds));
        share[i] = log(sum);
    }
    for (size_t i = 0; i < list->count; i++) scores[i].odds -= share[i];
}

/* What a fault beside this hypothesis costs it at most. */
static double second(const lay_hypothesis *a, const lay_hypothesis *b) {
    return lay_hypothesis_outside(a) != lay_hypothesis_outside(b) ? FAULT_AND_OUTSIDE : SECOND_FAULT;
}

static double residual(const lay_unit *unit, const lay_hypothesis_list *list, size_t self, const lay_observations *obs,
                       const lay_strike_table *strikes, const lay_run_evidence *runs, double threshold,
                       const lay_score *alone, bool *competes) {
    lay_taken taken = {unit, &list->items[self], alone[self].level_db};
    double worst = 0;
    for (size_t i = 0; i < list->count; i++) {
        const lay_hypothesis *h = &list->items[i], *me = &list->items[self];
        competes[i] = false;
        if (i == self || alone[i].odds < -2) continue;
        bool same_part = h->index >= 0 && h->index == me->index && h->type == me->type;
        if (same_part) {
            competes[i] = true;
            continue;
        }
        lay_score left = {0};
        if (lay_hypothesis_strikes(h))
            left.odds = lay_strikes_left(list, strikes, runs, i, self, alone);
        else
            score_one(h, i, obs, runs, &taken, threshold, &left);
        competes[i] = left.odds < alone[i].odds - 1;
        worst = fmax(worst, fmin(left.odds, second(h, me)));
    }
    return worst;
}

static void weigh(const lay_hypothesis_list *list, lay_score *scores, size_t self, const bool *competes) {
    double terms[512];
    size_t n = 0;
    double own = scores[self].odds - scores[self].residual;
    terms[n++] = 0; /* healthy */
    terms[n++] = own;
    for (size_t i = 0; i < list->count && n < 512; i++)
        if (competes[i]) terms[n++] = scores[i].odds - scores[i].residual;
    scores[self].probability = exp(own - lay_log_sum_exp(terms, n));
}

lay_status lay_score_all(const lay_unit *unit, const lay_hypothesis_list *list, const lay_observations *obs,
                         const lay_strike_table *strikes, const lay_turn_hints *hints, const lay_run_evidence *runs,
                         lay_score *out, lay_error *err) {
    size_t n = list->count;
    bool *competes = lay_calloc(n * n + 1, sizeof *competes);
    if (!competes) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to weigh the parts");
    double *share = lay_calloc(n + 1, sizeof *share);
    if (!share) {
        free(competes);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to weigh the parts");
    }
    const lay_taken none = {unit, NULL, 0};
    for (size_t i = 0; i < n; i++) score_one(&list->items[i], i, obs, runs, &none, THRESHOLD_DB, &out[i]);
    double threshold = THRESHOLD_DB + fmax(-1.5, fmin(3, FOLLOW * (common_level(list, out) - COMMON_DB)));
    for (size_t i = 0; i < n; i++) score_one(&list->items[i], i, obs, runs, &none, threshold, &out[i]);
    lay_status status = lay_strikes_score(list, strikes, runs, out, err);
    share_between_twins(unit, list, runs, obs->runs, out, share);
    free(share);
    lay_settle_kinds(list, obs, hints, out);
    for (size_t i = 0; i < n; i++)
        if (out[i].odds > -4)
            out[i].residual = residual(unit, list, i, obs, strikes, runs, threshold, out, competes + i * n);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            if (competes[i * n + j]) competes[j * n + i] = true;
    for (size_t i = 0; i < n; i++) weigh(list, out, i, competes + i * n);
    free(competes);
    return status;
}
