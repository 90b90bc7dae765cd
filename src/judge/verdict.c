#include "judging.h"
#include "stranger.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* From scores to the verdict a person reads: suspects in order of probability, the outcome, and what to record next. */

#define STANDS_OUT 0.5    /* a part, or a set that cannot be told apart, is accused from here */
#define ONE_OF_THEM 0.6   /* or when the suspects inside the transmission add up to this */
#define WORTH_ADDING 0.1  /* below, many unlikely ones would add up to something */
#define LEADS 0.35        /* the first of them at least */
#define TURNS_TO_CLEAR 25 /* ten turns of a cage */
#define UNSURE 0.25       /* between here and STANDS_OUT the recordings cannot tell */

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

bool lay_judging_loaded(const lay_judging *j) {
    for (size_t r = 0; r < j->run_count; r++)
        for (size_t m = 0; j->runs[r].usable && m < j->runs[r].kinematics.mesh_count; m++)
            if (j->runs[r].kinematics.loaded[m] && j->runs[r].load != LAY_LOAD_NONE) return true;
    return j->unit->mesh_count == 0;
}

/* Some run holds enough turns for weak defects to show at all. */
static bool long_enough(const lay_judging *j) {
    for (size_t r = 0; r < j->run_count; r++)
        if (lay_run_trusted(&j->runs[r]) && j->runs[r].revolutions >= TURNS_TO_CLEAR) return true;
    return false;
}

size_t lay_judging_usable(const lay_judging *j) {
    size_t n = 0;
    for (size_t r = 0; r < j->run_count; r++) n += lay_run_trusted(&j->runs[r]);
    return n;
}

void lay_judging_decide(lay_judging *j) {
    lay_verdict *v = j->out;
    double part = 0, outside = 0, sum = 0;
    for (size_t i = 0; i < v->suspect_count; i++) {
        double p = group_probability(v, i);
        if (v->suspects[i].kind == LAY_KIND_OUTSIDE)
            outside = fmax(outside, p);
        else {
            part = fmax(part, p);
            if (v->suspects[i].probability >= WORTH_ADDING) sum += v->suspects[i].probability;
        }
    }
    if (sum >= ONE_OF_THEM && part >= LEADS)
        part = fmax(part, STANDS_OUT); /* one of several rivals, which of them stays open */
    if (part >= STANDS_OUT && (part >= outside - 0.3 && (part > 0.8 || sum > outside)))
        v->outcome = LAY_ATTENTION;
    else if (outside >= STANDS_OUT)
        v->outcome = LAY_OUTSIDE;
    else if (fmax(part, outside) >= UNSURE || v->stranger.found || !long_enough(j) || lay_judging_usable(j) == 0 ||
             !lay_judging_loaded(j))
        v->outcome = LAY_INCONCLUSIVE;
    else
        v->outcome = LAY_CLEAR;
}

static lay_status judge_all(lay_judging *j, lay_error *err) {
    size_t chosen[LAY_SUSPECTS_MAX] = {0};
    lay_status status = lay_hypotheses_build(j->unit, j->runs, j->run_count, &j->list, err);
    if (status == LAY_OK) status = lay_observe(j->unit, &j->list, j->runs, j->run_count, &j->obs, err);
    if (status == LAY_OK) status = lay_strikes_observe(j->unit, &j->list, j->runs, j->run_count, &j->strikes, err);
    if (status != LAY_OK) return status;
    j->scores = lay_calloc(j->list.count + 1, sizeof *j->scores);
    j->rank = lay_calloc(j->list.count + 1, sizeof *j->rank);
    if (!j->scores || !j->rank) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    status = lay_score_all(j->unit, &j->list, &j->obs, &j->strikes, j->hints, j->runs, j->scores, err);
    if (status == LAY_OK)
        status =
            lay_stranger_find(j->unit, j->runs, j->run_count, &j->list, &j->strikes, j->scores, &j->out->stranger, err);
    if (status != LAY_OK) return status;
    lay_judging_rank(j);
    status = lay_judging_suspects(j, chosen, err);
    if (status == LAY_OK) status = lay_judging_parts(j, err);
    if (status != LAY_OK) return status;
    lay_judging_decide(j);
    bool ask = j->out->outcome == LAY_INCONCLUSIVE ||
               (j->out->outcome != LAY_CLEAR && j->out->suspect_count && j->out->suspects[0].not_separable_from.count);
    if (ask && j->list.count) status = lay_judging_advise(j, j->out->suspect_count ? chosen[0] : j->rank[0], err);
    return status == LAY_OK ? lay_judging_summarise(j, err) : status;
}

lay_status lay_judge_hinted(const lay_unit *unit, const lay_run_evidence *runs, size_t count,
                            const lay_turn_hints *hints, lay_verdict *out, lay_error *err) {
    *out = (lay_verdict){0};
    lay_judging j = {.unit = unit, .runs = runs, .run_count = count, .hints = hints, .out = out};
    lay_status status = judge_all(&j, err);
    free(j.list.items);
    lay_observations_free(&j.obs);
    lay_strike_table_free(&j.strikes);
    free(j.scores);
    free(j.rank);
    if (status != LAY_OK) lay_verdict_free(out);
    return status;
}

lay_status lay_judge(const lay_unit *unit, const lay_run_table *table, const lay_run_evidence *runs, size_t count,
                     lay_verdict *out, lay_error *err) {
    (void)table;
    return lay_judge_hinted(unit, runs, count, NULL, out, err);
}
