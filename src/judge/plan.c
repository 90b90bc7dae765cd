/* Which recordings to make: a greedy set cover. Every recording, a gear under a load, proves some things; the one that
 * proves most of what is still open comes next. (V. Chvatal, A greedy heuristic for the set-covering problem, 1979: at
 * most ln n worse than the best; from memory.) */
#include <layshaft/judge.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RESOLUTION (1.0 / 64) /* orders: closer, two parts sound alike */
#define EASE 1.5              /* proofs that an easier gear may have less */
#define NAMED 3               /* of a kind in a sentence */

typedef enum proof_kind { DRIVEN, COASTED, CARRIED, TURNED, APART, UNLOADED } proof_kind;

/* Something to prove. */
typedef struct proof {
    proof_kind kind;
    size_t part, other; /* other: of APART */
} proof;

typedef struct gear_view {
    bool good, moves; /* it can be solved; the output turns */
    lay_kinematics k;
    lay_expected *parts;
    size_t count;
} gear_view;

typedef struct candidate {
    int gear;
    lay_load load;
    bool *proves; /* [proof_count] */
    double liked; /* the sooner the better among equals */
} candidate;

typedef struct planner {
    const lay_unit *unit;
    gear_view *gears;
    size_t parts; /* the same in every gear */
    const lay_expected *names;
    proof *proofs;
    size_t proof_count, proof_capacity;
    candidate *candidates;
    size_t candidate_count, candidate_capacity;
    bool *open; /* [proof_count] */
    int noisy;  /* gear, -1 not said */
    lay_plan *out;
} planner;

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to plan");
}

/* ---- what every gear shows ---- */

static void view_gear(const lay_unit *unit, int gear, gear_view *view) {
    if (lay_unit_solve(unit, gear, &view->k, NULL) != LAY_OK) return;
    view->good = lay_unit_expect(unit, &view->k, &view->parts, &view->count, NULL) == LAY_OK;
    int out = unit->output;
    view->moves = out < 0 || (!view->k.free_body[out] && fabs(view->k.speed[out].value) > 1e-9);
}

static lay_status view_gears(planner *p, lay_error *err) {
    p->gears = lay_calloc(p->unit->gear_count + 1, sizeof *p->gears);
    if (!p->gears) return no_memory(err);
    for (size_t g = 0; g < p->unit->gear_count; g++) {
        view_gear(p->unit, (int)g, &p->gears[g]);
        if (!p->gears[g].good || p->names) continue;
        p->names = p->gears[g].parts;
        p->parts = p->gears[g].count;
    }
    return p->names ? LAY_OK
                    : lay_fail(err, LAY_BAD_INPUT, "no gear of the unit can be worked out, so there is no plan");
}

/* ---- what is to be proved ---- */

static bool toothed(const lay_expected *e) {
    return e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE;
}

static bool alike(const gear_view *g, size_t a, size_t b) {
    const lay_expected *x = &g->parts[a], *y = &g->parts[b];
    return x->turning && y->turning && lay_expected_same(x, y, RESOLUTION, NULL);
}

static bool apart(const gear_view *g, size_t a, size_t b) {
    return (g->parts[a].turning || g->parts[b].turning) && !alike(g, a, b);
}

static lay_status add_proof(planner *p, proof what, lay_error *err) {
    lay_status status = lay_grow((void **)&p->proofs, &p->proof_capacity, p->proof_count, sizeof *p->proofs, err);
    if (status == LAY_OK) p->proofs[p->proof_count++] = what;
    return status;
}

static lay_status add_part_proofs(planner *p, size_t part, lay_error *err) {
    bool loaded = false, turning = false;
    for (size_t g = 0; g < p->unit->gear_count; g++) {
        if (!p->gears[g].good) continue;
        loaded = loaded || (p->gears[g].moves && p->gears[g].parts[part].loaded);
        turning = turning || p->gears[g].parts[part].turning;
    }
    if (toothed(&p->names[part]) && loaded) {
        lay_status status = add_proof(p, (proof){DRIVEN, part, part}, err);
        return status == LAY_OK ? add_proof(p, (proof){COASTED, part, part}, err) : status;
    }
    if (p->names[part].type != LAY_PART_BEARING || !turning) return LAY_OK;
    return add_proof(p, (proof){loaded ? CARRIED : TURNED, part, part}, err);
}

static lay_status add_pair_proof(planner *p, size_t a, size_t b, lay_error *err) {
    bool together = false, separate = false;
    for (size_t g = 0; g < p->unit->gear_count; g++) {
        if (!p->gears[g].good) continue;
        together = together || alike(&p->gears[g], a, b);
        separate = separate || apart(&p->gears[g], a, b);
    }
    if (!together) return LAY_OK;
    if (separate) return add_proof(p, (proof){APART, a, b}, err);
    lay_text_add(&p->out->inseparable, "'%s' and '%s' make the same order in every gear\n", p->names[a].name,
                 p->names[b].name);
    return LAY_OK;
}

static lay_status list_proofs(planner *p, lay_error *err) {
    lay_status status = add_proof(p, (proof){UNLOADED, 0, 0}, err);
    for (size_t a = 0; a < p->parts && status == LAY_OK; a++) status = add_part_proofs(p, a, err);
    for (size_t a = 0; a < p->parts && status == LAY_OK; a++)
        for (size_t b = a + 1; b < p->parts && status == LAY_OK; b++) status = add_pair_proof(p, a, b, err);
    return status;
}

/* ---- what can be recorded ---- */

static bool proves(const gear_view *g, lay_load load, const proof *what) {
    const lay_expected *e = &g->parts[what->part];
    bool carries = g->moves && e->loaded;
    switch (what->kind) {
    case DRIVEN:
        return carries && load == LAY_LOAD_DRIVE;
    case COASTED:
        return carries && load == LAY_LOAD_COAST;
    case CARRIED:
        return carries && load != LAY_LOAD_NONE;
    case TURNED:
        return e->turning;
    case APART:
        return apart(g, what->part, what->other);
    case UNLOADED:
        return load == LAY_LOAD_NONE;
    }
    return false;
}

/* Gears in the middle are the easiest to drive, reverse and the first the hardest (common practice, no source). */
static double liking(const planner *p, int gear, lay_load load) {
    const gear_view *g = &p->gears[gear];
    double ratio = fabs(lay_unit_ratio(p->unit, &g->k)), place = ratio > 0 ? fabs(log(ratio / 1.4)) : 3;
    if (lay_unit_ratio(p->unit, &g->k) < 0) place += 2;
    return -place - (load == LAY_LOAD_COAST ? 0.05 : 0);
}

static lay_status add_candidate(planner *p, int gear, lay_load load, lay_error *err) {
    lay_status status =
        lay_grow((void **)&p->candidates, &p->candidate_capacity, p->candidate_count, sizeof *p->candidates, err);
    if (status != LAY_OK) return status;
    candidate *c = &p->candidates[p->candidate_count];
    *c = (candidate){gear, load, lay_calloc(p->proof_count, sizeof *c->proves), liking(p, gear, load)};
    if (!c->proves) return no_memory(err);
    p->candidate_count++;
    for (size_t i = 0; i < p->proof_count; i++) c->proves[i] = proves(&p->gears[gear], load, &p->proofs[i]);
    return LAY_OK;
}

static lay_status list_candidates(planner *p, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t g = 0; g < p->unit->gear_count && status == LAY_OK; g++) {
        if (!p->gears[g].good) continue;
        if (!p->gears[g].moves) {
            status = add_candidate(p, (int)g, LAY_LOAD_NONE, err);
            continue;
        }
        status = add_candidate(p, (int)g, LAY_LOAD_DRIVE, err);
        if (status == LAY_OK) status = add_candidate(p, (int)g, LAY_LOAD_COAST, err);
    }
    return status;
}

/* ---- choosing ---- */

static void add_names(const planner *p, const candidate *c, proof_kind kind, const char *lead, lay_text *out) {
    size_t count = 0;
    for (size_t i = 0; i < p->proof_count; i++) {
        if (p->proofs[i].kind != kind || !p->open[i] || !c->proves[i]) continue;
        if (count < NAMED) {
            lay_text_add(out, "%s%s", count > 0 ? ", " : out->length > 0 ? "; " : "", count > 0 ? "" : lead);
            lay_text_add(out, "%s", p->names[p->proofs[i].part].name);
            if (kind == APART) lay_text_add(out, " from %s", p->names[p->proofs[i].other].name);
        }
        count++;
    }
    if (count > NAMED) lay_text_add(out, " and %zu more", count - NAMED);
}

/* What it adds to those before. */
static char *reason(const planner *p, const candidate *c) {
    lay_text text = {0};
    add_names(p, c, DRIVEN, "torque through ", &text);
    add_names(p, c, COASTED, "torque on the other flank of ", &text);
    add_names(p, c, CARRIED, "torque on the bearings ", &text);
    add_names(p, c, TURNED, "turns the bearings ", &text);
    add_names(p, c, APART, "tells ", &text);
    if (c->load == LAY_LOAD_NONE)
        lay_text_add(&text, "%sno torque: what stays is not a loaded mesh", text.length > 0 ? "; " : "");
    return text.failed ? NULL : text.text;
}

/* Of what comes first: everything but that each mesh carries torque. */
static bool comes_first(const proof *what) {
    return what->kind != DRIVEN && what->kind != COASTED;
}

static size_t gain(const planner *p, const candidate *c, bool first) {
    size_t sum = 0;
    for (size_t i = 0; i < p->proof_count; i++)
        sum += p->open[i] && c->proves[i] && (!first || comes_first(&p->proofs[i]));
    return sum;
}

static lay_status take(planner *p, const candidate *c, bool done, bool first, lay_error *err) {
    lay_plan *plan = p->out;
    char *why = reason(p, c);
    if (!why) why = lay_strdup("");
    lay_status status = lay_grow((void **)&plan->items, &plan->capacity, plan->count, sizeof *plan->items, err);
    if (status != LAY_OK || !why) {
        free(why);
        return no_memory(err);
    }
    plan->items[plan->count++] = (lay_plan_item){c->gear, c->load, done, first, why};
    plan->open += !done;
    plan->first += !done && first;
    for (size_t i = 0; i < p->proof_count; i++) p->open[i] = p->open[i] && !c->proves[i];
    return LAY_OK;
}

static bool chosen(const planner *p, int gear, lay_load load) {
    for (size_t i = 0; i < p->out->count; i++)
        if (p->out->items[i].gear == gear && p->out->items[i].load == load) return true;
    return false;
}

/* A steady run carries torque as a driven one does. */
static bool recorded(const planner *p, const lay_run_table *table, const candidate *c) {
    for (size_t i = 0; table && i < table->count; i++) {
        const lay_run_spec *run = &table->runs[i];
        lay_load load = run->load == LAY_LOAD_STEADY ? LAY_LOAD_DRIVE : run->load;
        if (run->gear[0] && lay_unit_gear(p->unit, run->gear) == c->gear && load == c->load) return true;
    }
    return false;
}

static const candidate *best_candidate(const planner *p, bool first) {
    const candidate *best = NULL;
    double most = 0;
    for (size_t i = 0; i < p->candidate_count; i++) {
        const candidate *c = &p->candidates[i];
        size_t here = gain(p, c, first);
        double worth = (double)here + EASE * c->liked;
        if (here == 0 || (best && worth <= most)) continue;
        most = worth;
        best = c;
    }
    return best;
}

/* The gear that is driven and coasted: the noisy one, else one that is driven or coasted anyway, else the easiest. */
static int contrast_gear(const planner *p) {
    int gear = p->noisy >= 0 && p->gears[p->noisy].moves ? p->noisy : -1;
    for (size_t i = 0; i < p->out->count && gear < 0; i++)
        if (p->out->items[i].load != LAY_LOAD_NONE) gear = p->out->items[i].gear;
    double liked = -INFINITY;
    for (size_t i = 0; i < p->candidate_count && gear < 0; i++)
        if (p->candidates[i].load == LAY_LOAD_DRIVE && p->candidates[i].liked > liked) liked = p->candidates[i].liked;
    for (size_t i = 0; i < p->candidate_count && gear < 0; i++)
        if (p->candidates[i].load == LAY_LOAD_DRIVE && p->candidates[i].liked == liked) gear = p->candidates[i].gear;
    return gear;
}

static lay_status take_contrast(planner *p, int gear, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < p->candidate_count && status == LAY_OK; i++) {
        const candidate *c = &p->candidates[i];
        if (c->gear == gear && !chosen(p, c->gear, c->load)) status = take(p, c, false, true, err);
    }
    return status;
}

static lay_status choose(planner *p, const lay_run_table *table, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < p->candidate_count && status == LAY_OK; i++)
        if (recorded(p, table, &p->candidates[i])) status = take(p, &p->candidates[i], true, true, err);
    if (status == LAY_OK && p->noisy >= 0) status = take_contrast(p, p->noisy, err);
    for (const candidate *c; status == LAY_OK && (c = best_candidate(p, true));) {
        status = take(p, c, false, true, err);
        if (status == LAY_OK) status = take_contrast(p, contrast_gear(p), err); /* the other flank at once */
    }
    if (status == LAY_OK) status = take_contrast(p, contrast_gear(p), err);
    for (const candidate *c; status == LAY_OK && (c = best_candidate(p, false));)
        status = take(p, c, false, false, err);
    return status;
}

static void planner_free(planner *p) {
    for (size_t g = 0; p->gears && g < p->unit->gear_count; g++) {
        free(p->gears[g].parts);
        lay_kinematics_free(&p->gears[g].k);
    }
    for (size_t i = 0; i < p->candidate_count; i++) free(p->candidates[i].proves);
    free(p->gears);
    free(p->candidates);
    free(p->proofs);
    free(p->open);
}

lay_status lay_plan_make(const lay_unit *unit, const lay_run_table *table, int noisy, lay_plan *out, lay_error *err) {
    planner p = {.unit = unit, .noisy = noisy, .out = out};
    *out = (lay_plan){0};
    lay_status status = view_gears(&p, err);
    if (status == LAY_OK) status = list_proofs(&p, err);
    if (status == LAY_OK && !(p.open = lay_calloc(p.proof_count + 1, sizeof *p.open))) status = no_memory(err);
    for (size_t i = 0; status == LAY_OK && i < p.proof_count; i++) p.open[i] = true;
    if (status == LAY_OK) status = list_candidates(&p, err);
    if (status == LAY_OK) status = choose(&p, table, err);
    if (status == LAY_OK && out->inseparable.failed) status = no_memory(err);
    planner_free(&p);
    if (status != LAY_OK) lay_plan_free(out);
    return status;
}

void lay_plan_free(lay_plan *plan) {
    if (!plan) return;
    for (size_t i = 0; i < plan->count; i++) free(plan->items[i].why);
    free(plan->items);
    lay_text_free(&plan->inseparable);
    *plan = (lay_plan){0};
}
