#include "blows.h"
#include "judging.h"
#include "words.h"

#include <math.h>
#include <stdlib.h>

/* Which hypotheses are named, in which order, and what is said of each. */

#define NAME_AT 0.05 /* least probability to be named at all */

static bool same_claim(const lay_judging *j, size_t a, size_t b) {
    const lay_hypothesis *x = &j->list.items[a], *y = &j->list.items[b];
    if (x->index < 0 && y->index < 0) return true; /* one unknown source is enough to name */
    return x->index == y->index && x->type == y->type && x->index >= 0;
}

/* A part is at fault when any of its kinds of fault is there. */
static double part_probability(const lay_judging *j, size_t self) {
    double sum = 0;
    for (size_t i = 0; i < j->list.count; i++)
        if (same_claim(j, i, self)) sum += j->scores[i].probability;
    return fmin(sum, 0.999);
}

static bool ranks_before(const lay_judging *j, size_t a, size_t b) {
    double x = part_probability(j, a), y = part_probability(j, b);
    if (fabs(x - y) > 1e-9) return x > y;
    return j->scores[a].probability > j->scores[b].probability;
}

void lay_judging_rank(lay_judging *j) {
    for (size_t i = 0; i < j->list.count; i++) {
        size_t at = i;
        while (at > 0 && ranks_before(j, i, j->rank[at - 1])) {
            j->rank[at] = j->rank[at - 1];
            at--;
        }
        j->rank[at] = i;
    }
}

static bool named_before(const lay_judging *j, const size_t *chosen, size_t count, size_t i) {
    for (size_t k = 0; k < count; k++)
        if (same_claim(j, chosen[k], i)) return true;
    return false;
}

/* ---- one suspect ---- */

static double next_loudest(const lay_judging *j, size_t self) {
    double best = NAN;
    for (size_t i = 0; i < j->list.count; i++) {
        if (j->list.items[i].kind != LAY_KIND_MESH || !j->scores[i].observed || same_claim(j, i, self)) continue;
        if (lay_hypotheses_same_lines(j->unit, &j->list.items[i], &j->list.items[self], j->runs, j->run_count))
            continue;
        if (isnan(best) || j->scores[i].level_db > best) best = j->scores[i].level_db;
    }
    return best;
}

static bool audible(const lay_run_evidence *run, const lay_tone *tone) {
    if (run->sensor == LAY_SENSOR_MIC) return tone->tnr_db >= lay_tnr_limit(tone->hz); /* ECMA-418-1 */
    return tone->above_floor_db >= 12 && tone->tnr_db >= 4;                            /* common practice, no source */
}

static lay_status copy_name(const char *name, char **out, lay_error *err) {
    if (!name) return LAY_OK;
    *out = lay_strdup(name);
    return *out ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static lay_status list_twins(const lay_judging *j, size_t self, lay_strings *out, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < j->list.count && status == LAY_OK; i++) {
        const lay_hypothesis *h = &j->list.items[i], *me = &j->list.items[self];
        if (i == self || h->kind != me->kind || h->index < 0 || same_claim(j, i, self)) continue;
        if (h->kind == LAY_KIND_GHOST && j->scores[i].probability < NAME_AT) continue;
        if (lay_hypothesis_strikes(me)) {
            if (!lay_strikes_inseparable(&j->list, &j->strikes, j->runs, self, i)) continue;
        } else if (!lay_hypotheses_same_lines(j->unit, h, me, j->runs, j->run_count) ||
                   j->scores[i].odds < j->scores[self].odds - 2.5) /* loads already tell them apart */
            continue;
        status = lay_strings_add(out, err, "%s", lay_hypothesis_part(j->unit, h));
    }
    return status;
}

static void fill_levels(const lay_judging *j, size_t self, const lay_observation *best, lay_suspect *s) {
    const lay_score *score = &j->scores[self];
    s->best_run = score->best_run;
    if (score->best_run < 0) return;
    const lay_run_evidence *run = &j->runs[score->best_run];
    s->level_db = lay_run_level_db(run, best->tone.power);
    s->quantity = run->quantity;
    s->above_floor_db = best->tone.above_floor_db;
    s->prominence_db = best->tone.tnr_db;
    s->audible = audible(run, &best->tone);
}

static lay_status fill_suspect(const lay_judging *j, size_t self, lay_suspect *s, lay_error *err) {
    const lay_hypothesis *h = &j->list.items[self];
    const lay_score *score = &j->scores[self];
    static const lay_observation nothing = {.level_db = -20};
    const lay_observation *best =
        score->best_run >= 0 ? lay_observation_at(&j->obs, self, (size_t)score->best_run, score->group) : &nothing;
    int body = lay_hypothesis_body(j->unit, h);
    bool strikes = lay_hypothesis_strikes(h);
    lay_finding finding = {j->unit,
                           h,
                           score,
                           j->runs,
                           j->run_count,
                           best,
                           next_loudest(j, self),
                           &s->blows,
                           strikes ? lay_strike_common_of(&j->strikes, self) : NULL,
                           strikes ? lay_strike_of(&j->strikes, self, 0) : NULL};
    s->kind = h->kind;
    s->probability = part_probability(j, self);
    if (strikes)
        lay_blows_fill(h, score, finding.strike_at, j->runs, s);
    else
        fill_levels(j, self, best, s);
    lay_status status = copy_name(lay_hypothesis_part(j->unit, h), &s->part, err);
    if (status == LAY_OK && body >= 0) status = copy_name(j->unit->bodies[body].name, &s->body, err);
    if (status == LAY_OK) status = lay_words_reasons(&finding, &s->reasons, err);
    if (status == LAY_OK) status = lay_words_checks(&finding, &s->checks, err);
    if (status == LAY_OK) status = list_twins(j, self, &s->not_separable_from, err);
    return status;
}

lay_status lay_judging_suspects(lay_judging *j, size_t *chosen, lay_error *err) {
    lay_verdict *v = j->out;
    v->suspects = lay_calloc(LAY_SUSPECTS_MAX, sizeof *v->suspects);
    if (!v->suspects) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = LAY_OK;
    for (size_t k = 0; k < j->list.count && v->suspect_count < LAY_SUSPECTS_MAX && status == LAY_OK; k++) {
        size_t i = j->rank[k];
        if (part_probability(j, i) < NAME_AT || named_before(j, chosen, v->suspect_count, i)) continue;
        chosen[v->suspect_count] = i;
        v->suspect_count++;
        status = fill_suspect(j, i, &v->suspects[v->suspect_count - 1], err);
    }
    return status;
}
