#include "observe.h"

#include <math.h>
#include <stdlib.h>

#define GHOST_DB 1.5        /* for each standard deviation beside its place */
#define NOTHING_DB (-20.0)  /* below this a tone carries no more information */
#define UNEVEN 6.3          /* sides of one pair rarely differ by more (8 dB) */
#define CLEAR_OF_ENGINE 5.0 /* times the share that the engine has by its neighbours (7 dB) */
#define LOWEST 3            /* firing orders up to which the engine rules over all */
#define LOW 10              /* and over sources that have one order only */
#define SKIRT_BINS 7        /* a strong line's skirt reaches this far */
#define SKIRT 40.0          /* and hides what is this many times weaker (16 dB) */

lay_observation *lay_observation_at(const lay_observations *o, size_t hypothesis, size_t run, int group) {
    return &o->at[(hypothesis * o->runs + run) * LAY_GROUPS + (size_t)group];
}

void lay_observations_free(lay_observations *o) {
    free(o->at);
    free(o->loaded);
    *o = (lay_observations){0};
}

/* Level the part can be given. Half way between the run's mean and the median over speed where the mean is higher, so
 * that a resonance that lifts a healthy line over a narrow range does not count in full; the median where that is
 * higher: the mean is then drowned by what is loud in a part of the run. Twice what the engine would make is taken off.
 */
static double own_level(double engine, const lay_tone *tone) {
    if (!tone->valid || tone->significance < 2) return NOTHING_DB;
    double level = fmax(tone->steady_tnr_db, 0.5 * (tone->tnr_db + tone->steady_tnr_db));
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

/* The lowest engine orders, up to so many firing orders, are the engine's own business: what else may lie there cannot
 * be told from it, unless other gears show what the engine makes there. */
static bool engine_rules(const lay_run_evidence *run, double order, double found, double firings) {
    const lay_expected *engine = lay_run_engine(run);
    return engine && order <= firings * engine->order + 1 && lay_engine_order(run, found);
}

/* Firing orders stay loud high up. */
static bool at_firing(const lay_run_evidence *run, double order) {
    const lay_expected *engine = lay_run_engine(run);
    return engine && fabs(order - engine->order * round(order / engine->order)) < 0.1;
}

/* A line that stands on an order of the engine, and not as close to the place of a source that has an order of its own,
 * is the engine's. */
static bool engine_nearer(const lay_run_evidence *run, double order, double found) {
    const lay_expected *engine = lay_run_engine(run);
    double cycle = engine ? engine->cycle_order : 0;
    return cycle > 0 && lay_engine_order(run, found) &&
           fabs(found - cycle * round(found / cycle)) < fabs(found - order) - 1e-6;
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

/* Beside a far stronger line stands what its changes of level during the run spread out, and the floor, estimated over
 * a wider band, does not follow it: a small peak there says nothing. */
static bool in_skirt(const lay_run_evidence *run, const lay_tone *tone) {
    const lay_order_spectrum *s = &run->spectrum;
    double around[2 * SKIRT_BINS], beside = 0;
    size_t n = 0, at = (size_t)lround(tone->found / s->step);
    if (at < SKIRT_BINS + 1 || at + SKIRT_BINS >= s->bins) return false;
    for (size_t d = 2; d <= SKIRT_BINS; d++) {
        beside = fmax(beside, fmax(s->power[at - d], s->power[at + d]));
        if (d > 2) around[n++] = s->power[at - d], around[n++] = s->power[at + d];
    }
    double local = lay_median(around, n);
    return beside > SKIRT * s->power[at] || (local > 4 * s->floor[at] && s->power[at] < 4 * local);
}

/* Whether the engine leaves anything to say about this place; *low: only if its own line there can be learnt. A mesh
 * has other lines and gears to show; a ghost or a rotor that sits on a low engine order has not. */
static bool engine_allows(const lay_hypothesis *h, const lay_run_evidence *run, double order, double found, bool *low) {
    bool toothed = h->type == LAY_PART_AXLE || h->kind == LAY_KIND_MESH || h->kind == LAY_KIND_ECCENTRIC;
    *low = engine_rules(run, order, found, toothed ? LOWEST : LOW);
    if (toothed) return true;
    if (engine_nearer(run, order, found)) return false;
    if (h->kind != LAY_KIND_GHOST) return !*low;
    return !*low || (!at_firing(run, order) && !engine_rules(run, order, found, LOWEST));
}

/* There are so many whole numbers on so many wheels that some always fits a line nearly: the one that fits it best is
 * to be preferred. */
static double beside_ghost(const lay_tone *tone) {
    return GHOST_DB * fmax(0, tone->off_sd - 1);
}

static void observe_single(const lay_hypothesis *h, const lay_run_evidence *run, double order, double slack,
                           lay_observation *out) {
    lay_tone_at(run, order, slack, &out->tone);
    out->order[0] = out->order[1] = order;
    out->valid = out->tone.valid && !out->tone.fixed && !hidden(run, &out->tone) && !in_skirt(run, &out->tone) &&
                 engine_allows(h, run, order, out->tone.found, &out->low);
    out->engine = out->valid && lay_engine_order(run, out->tone.found) ? lay_engine_share(run, order) : 0;
    out->level_db = own_level(out->engine, &out->tone);
    if (h->kind == LAY_KIND_GHOST) out->level_db = fmax(NOTHING_DB, out->level_db - beside_ghost(&out->tone));
}

/* What the part itself makes of one side: the engine's share taken off where it is small, unknown (-1) where it is not.
 */
static double own_side(const lay_observation *side) {
    if (!side->valid || (side->engine > 0 && side->tone.power < CLEAR_OF_ENGINE * side->engine)) return -1;
    bool stands = side->tone.significance > 2 && side->tone.off_sd <= 5;
    return stands ? side->tone.power - side->engine : 0;
}

/* Power of the stronger side, at most 8 dB above the weaker; -1 where the engine leaves neither side to measure. */
static double side_power(const lay_observation side[2]) {
    double power[2] = {own_side(&side[0]), own_side(&side[1])};
    double strong = fmax(power[0], power[1]), weak = fmin(power[0], power[1]);
    return weak < 0 ? strong : fmin(strong, UNEVEN * weak);
}

static void observe_pair(const lay_hypothesis *h, const lay_run_evidence *run, const lay_group *group,
                         lay_observation *out) {
    lay_observation side[2] = {{0}, {0}};
    for (int s = 0; s < 2; s++) {
        observe_single(h, run, group->order[s], 0, &side[s]);
        if (side_taken(h, run, group->order[s]) || side[s].low) side[s].valid = false;
    }
    if (!side[0].valid && !side[1].valid) return;
    bool second = side[1].valid && (!side[0].valid || side[1].level_db > side[0].level_db);
    *out = side[second];
    out->order[0] = group->order[0];
    out->order[1] = group->order[1];
    out->side = side_power(side);
    if (!side[0].valid || !side[1].valid)
        out->level_db -= 4; /* a lone side is poorer proof */
    else {
        double weak = fmin(side[0].level_db, side[1].level_db), strong = fmax(side[0].level_db, side[1].level_db);
        out->level_db = fmin(0.5 * (weak + strong), weak + 5);
    }
}

/* How much louder an engine's line may stand out against the noise in one run than in another, as a power: it differs
 * from run to run, and pulling it does so more than coasting or idling. */
static double louder(lay_load here, lay_load there) {
    bool pulls = here != LAY_LOAD_COAST && here != LAY_LOAD_NONE,
         pulled = there != LAY_LOAD_COAST && there != LAY_LOAD_NONE;
    return pulls && !pulled ? 10 : 2.5;
}

/* The engine's own line at `order` as a tone-to-noise ratio (power), learnt in the runs in which the part does not make
 * it: a wheel on the input shaft has a whole order in every gear, and so has the engine. INFINITY where fewer than two
 * runs show it. */
static double learn_engine(const lay_observations *o, size_t h, size_t self, int group, double order,
                           const lay_run_evidence *runs) {
    double ratio[64];
    size_t n = 0;
    for (size_t r = 0; r < o->runs && n < 64; r++) {
        const lay_observation *x = lay_observation_at(o, h, r, group);
        bool sings = o->loaded[h * o->runs + r] && fabs(x->order[0] - order) < 0.1;
        if (r == self || sings || !runs[r].usable || runs[r].gear < 0) continue;
        lay_tone tone;
        lay_tone_at(&runs[r], order, 0, &tone);
        if (tone.valid) ratio[n++] = louder(runs[self].load, runs[r].load) * pow(10, tone.tnr_db / 10);
    }
    return n >= 2 ? lay_quantile(ratio, n, 0.75) : INFINITY;
}

/* Where the engine may make a good part of a line, the part's own level is not known unless the whole is weak. How good
 * a part it must be depends on whether the engine's own line could be learnt; the lowest orders need that. */
static void take_engine_off(lay_observations *o, size_t h, int group, const lay_run_evidence *runs) {
    for (size_t r = 0; r < o->runs; r++) {
        lay_observation *x = lay_observation_at(o, h, r, group);
        if (!x->valid || (x->engine <= 0 && !x->low) || x->order[0] != x->order[1]) continue;
        double learnt = learn_engine(o, h, r, group, x->order[0], runs);
        bool known = learnt < INFINITY;
        x->valid = known || !x->low;
        if (!x->valid) continue;
        double made = 1.5 * x->engine; /* by its neighbours */
        if (known) made = fmax(made, learnt * x->tone.power / pow(10, x->tone.tnr_db / 10));
        double margin = known ? 2.8 : 4;
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
