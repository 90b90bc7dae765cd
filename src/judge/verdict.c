#include "score.h"
#include "words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* From scores to the verdict a person reads: suspects in order of probability, the outcome, and what to record next. */

#define SUSPECTS_MAX 6
#define NAME_AT 0.05    /* least probability to be named at all */
#define STANDS_OUT 0.5  /* a part, or a set that cannot be told apart, is accused from here */
#define ONE_OF_THEM 0.6 /* or when the suspects inside the transmission add up to this */
#define UNSURE 0.25     /* between here and STANDS_OUT the recordings cannot tell */

typedef struct judging {
    const lay_unit *unit;
    const lay_run_evidence *runs;
    size_t run_count;
    lay_hypothesis_list list;
    lay_observations obs;
    lay_score *scores;
    size_t *rank; /* hypotheses by falling probability */
    lay_verdict *out;
} judging;

/* ---- ranking ---- */

static bool same_claim(const judging *j, size_t a, size_t b) {
    const lay_hypothesis *x = &j->list.items[a], *y = &j->list.items[b];
    if (x->index < 0 && y->index < 0) return true; /* one unknown source is enough to name */
    return x->index == y->index && x->type == y->type && x->index >= 0;
}

/* A part is at fault when any of its kinds of fault is there. */
static double part_probability(const judging *j, size_t self) {
    double sum = 0;
    for (size_t i = 0; i < j->list.count; i++)
        if (same_claim(j, i, self)) sum += j->scores[i].probability;
    return fmin(sum, 0.999);
}

static bool ranks_before(const judging *j, size_t a, size_t b) {
    double x = part_probability(j, a), y = part_probability(j, b);
    if (fabs(x - y) > 1e-9) return x > y;
    return j->scores[a].probability > j->scores[b].probability;
}

static void rank_all(judging *j) {
    for (size_t i = 0; i < j->list.count; i++) {
        size_t at = i;
        while (at > 0 && ranks_before(j, i, j->rank[at - 1])) {
            j->rank[at] = j->rank[at - 1];
            at--;
        }
        j->rank[at] = i;
    }
}

static bool named_before(const judging *j, const size_t *chosen, size_t count, size_t i) {
    for (size_t k = 0; k < count; k++)
        if (same_claim(j, chosen[k], i)) return true;
    return false;
}

/* ---- one suspect ---- */

static double next_loudest(const judging *j, size_t self) {
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

static lay_status list_twins(const judging *j, size_t self, lay_strings *out, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < j->list.count && status == LAY_OK; i++) {
        const lay_hypothesis *h = &j->list.items[i], *me = &j->list.items[self];
        if (i == self || h->kind != me->kind || h->index < 0 || same_claim(j, i, self)) continue;
        if (h->kind == LAY_KIND_GHOST && j->scores[i].probability < NAME_AT) continue;
        if (!lay_hypotheses_same_lines(j->unit, h, me, j->runs, j->run_count)) continue;
        if (j->scores[i].odds < j->scores[self].odds - 2.5) continue; /* loads already tell them apart */
        status = lay_strings_add(out, err, "%s", lay_hypothesis_part(j->unit, h));
    }
    return status;
}

static void fill_levels(const judging *j, size_t self, const lay_observation *best, lay_suspect *s) {
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

static lay_status fill_suspect(const judging *j, size_t self, lay_suspect *s, lay_error *err) {
    const lay_hypothesis *h = &j->list.items[self];
    const lay_score *score = &j->scores[self];
    static const lay_observation nothing = {.level_db = -20};
    const lay_observation *best =
        score->best_run >= 0 ? lay_observation_at(&j->obs, self, (size_t)score->best_run, score->group) : &nothing;
    int body = lay_hypothesis_body(j->unit, h);
    lay_finding finding = {j->unit, h, score, j->runs, j->run_count, best, next_loudest(j, self), NAN};
    s->kind = h->kind;
    s->probability = part_probability(j, self);
    fill_levels(j, self, best, s);
    lay_status status = copy_name(lay_hypothesis_part(j->unit, h), &s->part, err);
    if (status == LAY_OK && body >= 0) status = copy_name(j->unit->bodies[body].name, &s->body, err);
    if (status == LAY_OK) status = lay_words_reasons(&finding, &s->reasons, err);
    if (status == LAY_OK) status = lay_words_checks(&finding, &s->checks, err);
    if (status == LAY_OK) status = list_twins(j, self, &s->not_separable_from, err);
    return status;
}

static lay_status list_suspects(judging *j, size_t *chosen, lay_error *err) {
    lay_verdict *v = j->out;
    v->suspects = lay_calloc(SUSPECTS_MAX, sizeof *v->suspects);
    if (!v->suspects) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = LAY_OK;
    for (size_t k = 0; k < j->list.count && v->suspect_count < SUSPECTS_MAX && status == LAY_OK; k++) {
        size_t i = j->rank[k];
        if (part_probability(j, i) < NAME_AT || named_before(j, chosen, v->suspect_count, i)) continue;
        chosen[v->suspect_count] = i;
        v->suspect_count++;
        status = fill_suspect(j, i, &v->suspects[v->suspect_count - 1], err);
    }
    return status;
}

/* ---- the outcome ---- */

static bool is_twin(const lay_suspect *s, const char *part) {
    for (size_t i = 0; i < s->not_separable_from.count; i++)
        if (part && strcmp(s->not_separable_from.items[i], part) == 0) return true;
    return false;
}

/* Probability that the suspect or one of those it cannot be told from is at fault. */
static double group_probability(const lay_verdict *v, size_t self) {
    double sum = v->suspects[self].probability;
    for (size_t i = 0; i < v->suspect_count; i++)
        if (i != self && is_twin(&v->suspects[self], v->suspects[i].part)) sum += v->suspects[i].probability;
    return fmin(sum, 1);
}

static bool anything_loaded(const judging *j) {
    for (size_t r = 0; r < j->run_count; r++)
        for (size_t m = 0; j->runs[r].usable && m < j->runs[r].kinematics.mesh_count; m++)
            if (j->runs[r].kinematics.loaded[m] && j->runs[r].load != LAY_LOAD_NONE) return true;
    return j->unit->mesh_count == 0;
}

static size_t usable_runs(const judging *j) {
    size_t n = 0;
    for (size_t r = 0; r < j->run_count; r++) n += j->runs[r].usable;
    return n;
}

static void decide(judging *j) {
    lay_verdict *v = j->out;
    double part = 0, outside = 0, sum = 0;
    for (size_t i = 0; i < v->suspect_count; i++) {
        double p = group_probability(v, i);
        if (v->suspects[i].kind == LAY_KIND_OUTSIDE)
            outside = fmax(outside, p);
        else {
            part = fmax(part, p);
            sum += v->suspects[i].probability;
        }
    }
    if (sum >= ONE_OF_THEM) part = fmax(part, STANDS_OUT); /* one of several rivals, which of them stays open */
    if (part >= STANDS_OUT && (part >= outside - 0.3 && (part > 0.8 || sum > outside)))
        v->outcome = LAY_ATTENTION;
    else if (outside >= STANDS_OUT)
        v->outcome = LAY_OUTSIDE;
    else if (fmax(part, outside) >= UNSURE || usable_runs(j) == 0 || !anything_loaded(j))
        v->outcome = LAY_INCONCLUSIVE;
    else
        v->outcome = LAY_CLEAR;
}

/* ---- the summary and what to add ---- */

static const char *kind_words(lay_kind kind) {
    switch (kind) {
    case LAY_KIND_MESH:
        return "gear whine";
    case LAY_KIND_ECCENTRIC:
        return "a wheel that runs out of true";
    case LAY_KIND_GHOST:
        return "a ghost order from gear cutting";
    default:
        return "noise";
    }
}

static char *say(const char *fmt, ...) LAY_PRINTF(1, 2);
static char *say(const char *fmt, ...) {
    lay_text t = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&t, fmt, args);
    va_end(args);
    return t.text;
}

static const lay_suspect *first_of(const lay_verdict *v, bool outside) {
    for (size_t i = 0; i < v->suspect_count; i++)
        if ((v->suspects[i].kind == LAY_KIND_OUTSIDE) == outside) return &v->suspects[i];
    return NULL;
}

static char *summary_attention(const lay_suspect *s) {
    const char *body = s->body ? s->body : "", *open = s->body ? " (wheel on " : "", *close = s->body ? ")" : "";
    if (s->not_separable_from.count)
        return say("%s in '%s'%s%s%s needs attention; these recordings cannot tell it from '%s'.", kind_words(s->kind),
                   s->part, open, body, close, s->not_separable_from.items[0]);
    return say("%s in '%s'%s%s%s needs attention.", kind_words(s->kind), s->part, open, body, close);
}

static char *summary_unsure(const judging *j) {
    if (usable_runs(j) == 0) return say("None of the recordings can be used; see the warnings of each run.");
    if (!anything_loaded(j))
        return say("In none of these recordings does a gear pair carry load (neutral and direct gear do not): add runs "
                   "in the other gears, on drive and on coast.");
    const lay_verdict *v = j->out;
    const char *part = v->suspect_count && v->suspects[0].part ? v->suspects[0].part : "a source outside";
    return say("Something may be wrong with '%s', but these recordings cannot tell for sure. Add: %s.", part,
               v->add.count ? v->add.items[0] : "a longer run in the same gear, on drive and on coast");
}

static lay_status summarise(judging *j, lay_error *err) {
    lay_verdict *v = j->out;
    const lay_suspect *out = first_of(v, true), *in = first_of(v, false);
    if (v->outcome == LAY_ATTENTION)
        v->summary = summary_attention(in);
    else if (v->outcome == LAY_OUTSIDE && out->part)
        v->summary = say("The noise comes from outside the transmission: %s.", out->part);
    else if (v->outcome == LAY_OUTSIDE)
        v->summary = say("The noise comes from outside the transmission, from a source the unit file does not list.");
    else if (v->outcome == LAY_CLEAR)
        v->summary = say("Nothing stands out in these recordings.");
    else
        v->summary = summary_unsure(j);
    return v->summary ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static bool has_run(const judging *j, int gear, lay_load load) {
    for (size_t r = 0; r < j->run_count; r++)
        if (j->runs[r].usable && j->runs[r].gear == gear && j->runs[r].load == load) return true;
    return false;
}

/* Gears in which the first suspect carries torque and that have not been recorded on both flanks. */
static lay_status advise(judging *j, size_t first, lay_error *err) {
    lay_status status = LAY_OK;
    const lay_hypothesis *h = &j->list.items[first];
    for (int g = 0; g < (int)j->unit->gear_count && status == LAY_OK && j->out->add.count < 3; g++) {
        lay_kinematics k = {0};
        if (lay_unit_solve(j->unit, g, &k, NULL) != LAY_OK) continue;
        bool loaded = h->index >= 0 && h->type == LAY_PART_MESH ? k.loaded[h->index] : k.mesh_count > 0;
        for (int load = LAY_LOAD_DRIVE; load <= LAY_LOAD_COAST && loaded && status == LAY_OK; load++)
            if (!has_run(j, g, (lay_load)load) && j->out->add.count < 3)
                status = lay_strings_add(&j->out->add, err,
                                         "gear %s on %s, 15 s, rising slowly through the speed at which it is heard",
                                         j->unit->gears[g].name, lay_load_name((lay_load)load));
        lay_kinematics_free(&k);
    }
    int best = j->scores[first].best_run;
    if (status == LAY_OK && j->out->add.count == 0 && best >= 0) {
        const lay_run_evidence *run = &j->runs[best];
        status = lay_strings_add(
            &j->out->add, err,
            "gear %s on %s again, 30 s, rising slowly through the speed at which it is heard, with a tach pulse",
            run->gear >= 0 ? j->unit->gears[run->gear].name : "?",
            run->load ? lay_load_name(run->load) : "drive and coast");
    }
    return status;
}

static lay_status judge_all(judging *j, lay_error *err) {
    size_t chosen[SUSPECTS_MAX] = {0};
    lay_status status = lay_hypotheses_build(j->unit, j->runs, j->run_count, &j->list, err);
    if (status == LAY_OK) status = lay_observe(j->unit, &j->list, j->runs, j->run_count, &j->obs, err);
    if (status != LAY_OK) return status;
    j->scores = lay_calloc(j->list.count + 1, sizeof *j->scores);
    j->rank = lay_calloc(j->list.count + 1, sizeof *j->rank);
    if (!j->scores || !j->rank) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    status = lay_score_all(j->unit, &j->list, &j->obs, j->runs, j->scores, err);
    if (status != LAY_OK) return status;
    rank_all(j);
    status = list_suspects(j, chosen, err);
    if (status != LAY_OK) return status;
    decide(j);
    bool ask =
        j->out->outcome == LAY_INCONCLUSIVE || (j->out->suspect_count && j->out->suspects[0].not_separable_from.count);
    if (ask && j->list.count) status = advise(j, j->out->suspect_count ? chosen[0] : j->rank[0], err);
    return status == LAY_OK ? summarise(j, err) : status;
}

lay_status lay_judge(const lay_unit *unit, const lay_run_table *table, const lay_run_evidence *runs, size_t count,
                     lay_verdict *out, lay_error *err) {
    (void)table;
    *out = (lay_verdict){0};
    judging j = {.unit = unit, .runs = runs, .run_count = count, .out = out};
    lay_status status = judge_all(&j, err);
    free(j.list.items);
    lay_observations_free(&j.obs);
    free(j.scores);
    free(j.rank);
    if (status != LAY_OK) lay_verdict_free(out);
    return status;
}
