#include "observe.h"

#include <math.h>
#include <stdlib.h>

#define NOTHING_DB (-20.0) /* below this a tone carries no more information */

lay_observation *lay_observation_at(const lay_observations *o, size_t hypothesis, size_t run, int group) {
    return &o->at[(hypothesis * o->runs + run) * LAY_GROUPS + (size_t)group];
}

void lay_observations_free(lay_observations *o) {
    free(o->at);
    free(o->loaded);
    *o = (lay_observations){0};
}

/* Level the part can be given: half way between the run's mean and the median over speed, so that a resonance that
 * lifts a healthy line over a narrow range does not count in full; twice what the engine would make there is taken off.
 */
static double own_level(double engine, const lay_tone *tone) {
    if (!tone->valid || tone->significance < 2) return NOTHING_DB;
    double level = 0.5 * (tone->tnr_db + fmin(tone->tnr_db, tone->steady_tnr_db));
    if (engine > 0) level += lay_db_power(fmax(1e-3, 1 - 2 * engine / tone->power));
    if (tone->off_sd > 5) return NOTHING_DB; /* the skirt of a neighbour */
    return fmax(NOTHING_DB, level - 3 * fmax(0, tone->off_sd - 2.5));
}

/* A side of a pair that coincides with a harmonic of another toothed part says nothing about this one. */
static bool side_taken(const lay_hypothesis *h, const lay_run_evidence *run, double order) {
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if ((e->type != LAY_PART_MESH && e->type != LAY_PART_AXLE) || e->order <= 0 || !e->turning) continue;
        if (e->type == h->type && e->index == h->index) continue;
        double k = round(order / e->order);
        if (k >= 1 && k <= 4 && fabs(order - k * e->order) < lay_order_tolerance(run, order)) return true;
    }
    return false;
}

/* The lowest engine orders are the engine's own business: what else may lie there cannot be told from it. Meshes have
 * other lines and gears to show; a ghost or a rotor that sits on an engine order has not. */
static bool engine_rules(const lay_hypothesis *h, const lay_run_evidence *run, double order) {
    bool toothed = h->type == LAY_PART_AXLE || h->kind == LAY_KIND_MESH || h->kind == LAY_KIND_ECCENTRIC;
    for (size_t i = 0; i < run->expected_count; i++) {
        double firing = run->expected[i].type == LAY_PART_ENGINE ? run->expected[i].order : 0;
        if (firing > 0 && order <= (toothed ? 3 * firing + 1 : 10 * firing)) return lay_engine_order(run, order);
    }
    return false;
}

/* A strong line of the engine or of another toothed part beside the place hides it; any other strong line there shows
 * that the hypothesis is a little wrong. */
static bool hidden(const lay_run_evidence *run, const lay_tone *tone) {
    if (tone->off_sd <= 5 || tone->tnr_db <= 0) return false;
    if (lay_engine_order(run, tone->found)) return true;
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if ((e->type != LAY_PART_MESH && e->type != LAY_PART_AXLE) || e->order <= 0 || !e->turning) continue;
        double k = round(tone->found / e->order);
        if (k >= 1 && fabs(tone->found - k * e->order) < 0.3 * run->spectrum.step + 1e-4 * tone->found) return true;
    }
    return false;
}

static void observe_single(const lay_hypothesis *h, const lay_run_evidence *run, double order, double slack,
                           lay_observation *out) {
    lay_tone_at(run, order, slack, &out->tone);
    out->order[0] = out->order[1] = order;
    out->valid = out->tone.valid && !out->tone.fixed && !hidden(run, &out->tone) && !engine_rules(h, run, order);
    out->engine = out->valid ? lay_engine_share(run, order) : 0;
    out->level_db = own_level(out->engine, &out->tone);
}

static void observe_pair(const lay_hypothesis *h, const lay_run_evidence *run, const lay_group *group,
                         lay_observation *out) {
    lay_observation side[2] = {{0}, {0}};
    for (int s = 0; s < 2; s++) {
        observe_single(h, run, group->order[s], 0, &side[s]);
        if (side_taken(h, run, group->order[s])) side[s].valid = false;
    }
    if (!side[0].valid && !side[1].valid) return;
    bool second = side[1].valid && (!side[0].valid || side[1].level_db > side[0].level_db);
    *out = side[second];
    out->order[0] = group->order[0];
    out->order[1] = group->order[1];
    if (!side[0].valid || !side[1].valid)
        out->level_db -= 4; /* a lone side is poorer proof */
    else {
        double weak = fmin(side[0].level_db, side[1].level_db), strong = fmax(side[0].level_db, side[1].level_db);
        out->level_db = fmin(0.5 * (weak + strong), weak + 5);
    }
}

/* How much stronger than its neighbours' estimate the engine's own line at `order` is, learnt in the runs in which the
 * part does not make it: a wheel on the input shaft has a whole order in every gear, and so has the engine. 0 when
 * nothing was learnt. */
static double engine_excess(const lay_observations *o, size_t h, size_t self, int group, double order,
                            const lay_run_evidence *runs) {
    double excess[64];
    size_t n = 0;
    for (size_t r = 0; r < o->runs && n < 64; r++) {
        const lay_observation *x = lay_observation_at(o, h, r, group);
        bool sings = o->loaded[h * o->runs + r] && fabs(x->order[0] - order) < 0.1;
        if (r == self || sings || !runs[r].usable || runs[r].gear < 0) continue;
        lay_tone tone;
        double engine = lay_engine_share(&runs[r], order);
        lay_tone_at(&runs[r], order, 0, &tone);
        if (tone.valid && engine > 0) excess[n++] = tone.power / engine;
    }
    return n >= 2 ? fmin(1000, fmax(1, lay_quantile(excess, n, 0.75))) : 0;
}

/* Where the engine may make a good part of a line, the part's own level is not known unless the whole is weak. How good
 * a part it must be depends on whether the engine's own line could be learnt. */
static void take_engine_off(lay_observations *o, size_t h, int group, const lay_run_evidence *runs) {
    for (size_t r = 0; r < o->runs; r++) {
        lay_observation *x = lay_observation_at(o, h, r, group);
        if (!x->valid || x->engine <= 0 || x->order[0] != x->order[1]) continue;
        double learnt = engine_excess(o, h, r, group, x->order[0], runs);
        double made = (learnt > 0 ? learnt : 1.5) * x->engine, margin = learnt > 0 ? 2.8 : 4;
        x->level_db = own_level(0.7 * made, &x->tone);
        if (margin * made > x->tone.power && x->tone.tnr_db > -2) x->valid = false;
    }
}

static bool is_loaded(const lay_hypothesis *h, const lay_run_evidence *run) {
    const lay_expected *e = lay_hypothesis_expected(h, run);
    if (h->kind == LAY_KIND_OUTSIDE) return true; /* sources outside do not depend on the gear's power flow */
    return e && e->loaded && run->load != LAY_LOAD_NONE;
}

lay_status lay_observe(const lay_unit *unit, const lay_hypothesis_list *list, const lay_run_evidence *runs,
                       size_t run_count, lay_observations *out, lay_error *err) {
    *out = (lay_observations){.hypotheses = list->count, .runs = run_count};
    out->at = lay_calloc(list->count * run_count * LAY_GROUPS + 1, sizeof *out->at);
    out->loaded = lay_calloc(list->count * run_count + 1, sizeof *out->loaded);
    if (!out->at || !out->loaded) {
        lay_observations_free(out);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to compare the parts");
    }
    for (size_t i = 0; i < list->count; i++)
        for (size_t r = 0; r < run_count; r++) {
            const lay_hypothesis *h = &list->items[i];
            lay_group groups[LAY_GROUPS];
            if (!lay_hypothesis_predict(unit, h, &runs[r], groups)) continue;
            out->loaded[i * run_count + r] = is_loaded(h, &runs[r]);
            for (int g = 0; g < LAY_GROUPS; g++) {
                lay_observation *o = lay_observation_at(out, i, r, g);
                if (groups[g].count == 1)
                    observe_single(h, &runs[r], groups[g].order[0],
                                   h->type == LAY_PART_ROTOR && h->index >= 0 ? 2e-4 : 0, o);
                if (groups[g].count == 2) observe_pair(h, &runs[r], &groups[g], o);
            }
        }
    for (size_t i = 0; i < list->count; i++)
        for (int g = 0; g < LAY_GROUPS; g++) take_engine_off(out, i, g, runs);
    return LAY_OK;
}
