#include "hypothesis.h"

#include <math.h>
#include <stdlib.h>

/* The parts of the unit are always proposed; ghosts and unknown sources only where a run holds an unexplained line that
 * stands out, else every whole number of every body would be a candidate. */

#define SEEDS_PER_RUN 8
#define LEAST_TNR_DB 1.0

static lay_status add(lay_hypothesis_list *list, lay_hypothesis h, lay_error *err) {
    lay_status status = lay_grow((void **)&list->items, &list->capacity, list->count, sizeof *list->items, err);
    if (status == LAY_OK) list->items[list->count++] = h;
    return status;
}

static lay_status propose_parts(const lay_unit *unit, lay_hypothesis_list *list, lay_error *err) {
    lay_status status = LAY_OK;
    for (int m = 0; m < (int)unit->mesh_count && status == LAY_OK; m++) {
        status = add(list, (lay_hypothesis){LAY_KIND_MESH, LAY_PART_MESH, m, -1, 0, 0, false}, err);
        for (int w = 0; w < 2 && status == LAY_OK; w++)
            status = add(list, (lay_hypothesis){LAY_KIND_ECCENTRIC, LAY_PART_MESH, m, w, 0, 0, false}, err);
        for (int w = 0; w < 2 && status == LAY_OK; w++)
            status = add(list, (lay_hypothesis){LAY_KIND_CHIP, LAY_PART_MESH, m, w, 0, 0, false}, err);
    }
    for (int b = 0; b < (int)unit->bearing_count; b++)
        for (int kind = LAY_KIND_OUTER; kind <= LAY_KIND_CAGE && status == LAY_OK; kind++)
            status = add(list, (lay_hypothesis){(lay_kind)kind, LAY_PART_BEARING, b, -1, 0, 0, false}, err);
    for (int b = 0; b < (int)unit->bearing_count && status == LAY_OK; b++)
        status = add(list, (lay_hypothesis){LAY_KIND_ELEMENT, LAY_PART_BEARING, b, -1, 1, 0, false}, err);
    if (unit->axle.present && status == LAY_OK)
        status = add(list, (lay_hypothesis){LAY_KIND_OUTSIDE, LAY_PART_AXLE, 0, -1, 0, 0, false}, err);
    for (int i = 0; i < (int)unit->rotor_count && status == LAY_OK; i++)
        status = add(list, (lay_hypothesis){LAY_KIND_OUTSIDE, LAY_PART_ROTOR, i, -1, 0, 0, false}, err);
    return status;
}

/* ---- from unexplained lines ---- */

/* The engine explains a line at one of its orders only as far as its neighbouring orders are as strong. */
static bool made_by_engine(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c) {
    double firing = run->expected[c->part].order;
    if (!lay_engine_order(run, line->line.order)) return false; /* near it, but not on it */
    return c->order <= 3 * firing + 1 || lay_engine_share(run, c->order) > 0.25 * line->line.power;
}

/* Over the whole run, or at most of its speeds: what masks it may be loud in a part of the run only. */
static bool stands_out(const lay_run_evidence *run, const lay_line *line) {
    if (line->significance < 4 || line->tnr_db < LEAST_TNR_DB - 8) return false;
    if (line->tnr_db >= LEAST_TNR_DB) return true;
    lay_tone tone;
    lay_tone_at(run, line->order, 0, &tone);
    return tone.valid && tone.steady_tnr_db >= LEAST_TNR_DB + 2;
}

static bool unexplained(const lay_run_evidence *run, const lay_explained_line *line) {
    if (!stands_out(run, &line->line)) return false;
    double explained = 0;
    for (int i = 0; i < line->claim_count; i++) {
        const lay_claim *c = &line->claims[i];
        if (c->class_ == LAY_LINE_GHOST || c->class_ == LAY_LINE_BEARING || c->class_ == LAY_LINE_UNKNOWN) continue;
        if (c->class_ == LAY_LINE_ENGINE && made_by_engine(run, line, c)) return false;
        double centred = 3 * sqrt(line->line.order_sd * line->line.order_sd + pow(0.12 * run->spectrum.step, 2));
        bool beside = fabs(line->line.order - c->order) > centred + 3e-5 * c->order;
        if (c->class_ != LAY_LINE_ENGINE && !beside && (c->sideband == 0 || c->probability > 0.7))
            explained += c->probability;
    }
    return explained < 0.4;
}

static bool known_unknown(const lay_hypothesis_list *list, bool by_output, double order, double tolerance) {
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].index < 0 && list->items[i].by_output == by_output &&
            fabs(list->items[i].order - order) < tolerance)
            return true;
    return false;
}

static bool known_ghost(const lay_hypothesis_list *list, int mesh, int wheel, int multiple) {
    for (size_t i = 0; i < list->count; i++) {
        const lay_hypothesis *h = &list->items[i];
        if (h->kind == LAY_KIND_GHOST && h->index == mesh && h->wheel == wheel && h->multiple == multiple) return true;
    }
    return false;
}

static lay_status propose_unknown(const lay_unit *unit, const lay_run_evidence *run, double order,
                                  lay_hypothesis_list *list, lay_error *err) {
    double tolerance = 0.3 * run->spectrum.step; /* each run places it a little differently; the best place wins */
    lay_status status = LAY_OK;
    if (!known_unknown(list, false, order, tolerance))
        status = add(list, (lay_hypothesis){LAY_KIND_OUTSIDE, LAY_PART_ROTOR, -1, -1, 0, order, false}, err);
    double out = unit->output >= 0 ? fabs(run->kinematics.speed[unit->output].value) : 0;
    if (status == LAY_OK && out > 1e-9 && !known_unknown(list, true, order / out, tolerance / out))
        status = add(list, (lay_hypothesis){LAY_KIND_OUTSIDE, LAY_PART_ROTOR, -1, -1, 0, order / out, true}, err);
    return status;
}

/* A harmonic of the wheel's own teeth, or a sideband of the first two. */
static bool beside_teeth(const lay_wheel *wheel, int body, int multiple) {
    if (wheel->body != body || wheel->teeth <= 0) return false;
    int beside = multiple % wheel->teeth;
    return beside == 0 || (multiple <= 2 * wheel->teeth + 1 && (beside == 1 || beside == wheel->teeth - 1));
}

/* A whole multiple of a wheel that its own teeth already make is no ghost. */
static bool made_by_teeth(const lay_unit *unit, int body, int multiple) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (beside_teeth(&unit->meshes[m].driver, body, multiple) ||
            beside_teeth(&unit->meshes[m].driven, body, multiple))
            return true;
    return false;
}

static lay_status propose_ghosts(const lay_unit *unit, const lay_run_evidence *run, double order,
                                 lay_hypothesis_list *list, lay_error *err) {
    lay_status status = LAY_OK;
    const lay_kinematics *k = &run->kinematics;
    for (int m = 0; m < (int)unit->mesh_count && status == LAY_OK; m++)
        for (int w = 0; w < 2 && status == LAY_OK; w++) {
            int body = w ? unit->meshes[m].driven.body : unit->meshes[m].driver.body;
            double turn = fabs(k->speed[body].value - k->speed[unit->meshes[m].carrier].value);
            if (k->free_body[body] || turn < 1e-9) continue;
            int n = (int)lround(order / turn);
            if (n < 8 || n > 300 || fabs(order - n * turn) > 1.2 * lay_order_tolerance(run, order)) continue;
            if (made_by_teeth(unit, body, n) || known_ghost(list, m, w, n)) continue;
            status = add(list, (lay_hypothesis){LAY_KIND_GHOST, LAY_PART_MESH, m, w, n, 0, false}, err);
        }
    return status;
}

static int by_tnr(const void *a, const void *b) {
    const lay_explained_line *x = *(const lay_explained_line *const *)a, *y = *(const lay_explained_line *const *)b;
    return (x->line.tnr_db < y->line.tnr_db) - (x->line.tnr_db > y->line.tnr_db);
}

static lay_status propose_from_run(const lay_unit *unit, const lay_run_evidence *run, lay_hypothesis_list *list,
                                   lay_error *err) {
    const lay_explained_line **strange = lay_calloc(run->line_count + 1, sizeof *strange);
    if (!strange) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    size_t n = 0;
    for (size_t i = 0; i < run->line_count; i++)
        if (unexplained(run, &run->lines[i])) strange[n++] = &run->lines[i];
    qsort(strange, n, sizeof *strange, by_tnr);
    lay_status status = LAY_OK;
    for (size_t i = 0; i < n && i < SEEDS_PER_RUN && status == LAY_OK; i++) {
        double order = strange[i]->line.order;
        lay_tone tone;
        lay_tone_at(run, order, 0, &tone);
        if (tone.fixed || order < 3) continue;
        status = propose_ghosts(unit, run, order, list, err);
        /* a stranger on an order of the engine could not be told from the engine */
        if (status == LAY_OK && !lay_engine_order(run, order)) status = propose_unknown(unit, run, order, list, err);
    }
    free(strange);
    return status;
}

lay_status lay_hypotheses_build(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count,
                                lay_hypothesis_list *out, lay_error *err) {
    *out = (lay_hypothesis_list){0};
    lay_status status = propose_parts(unit, out, err);
    for (size_t r = 0; r < run_count && status == LAY_OK; r++)
        if (lay_run_trusted(&runs[r]) && runs[r].gear >= 0 &&
            unit->mesh_count > 0) /* a bare rig has no noise of its own to tell strangers from */
            status = propose_from_run(unit, &runs[r], out, err);
    if (status != LAY_OK) {
        free(out->items);
        *out = (lay_hypothesis_list){0};
    }
    return status;
}
