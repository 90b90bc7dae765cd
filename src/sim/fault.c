/* Which faults a unit can have, and their drawing. */
#include "bearing.h"

#include <math.h>

/* Relative frequency of the kinds when several may be drawn; the share of NONE is set apart. */
static const double weights[LAY_FAULT_COUNT] = {
    [LAY_FAULT_MESH] = 4,   [LAY_FAULT_ECCENTRIC] = 1.5, [LAY_FAULT_CHIP] = 1,         [LAY_FAULT_GHOST] = 1,
    [LAY_FAULT_OUTER] = 1,  [LAY_FAULT_INNER] = 1,       [LAY_FAULT_ELEMENT] = 0.5,    [LAY_FAULT_CAGE] = 0.3,
    [LAY_FAULT_AXLE] = 1.5, [LAY_FAULT_ROTOR] = 1,       [LAY_FAULT_UNKNOWN_TONE] = 1,
};
static const unsigned tone_kinds = 1u << LAY_FAULT_NONE | 1u << LAY_FAULT_MESH | 1u << LAY_FAULT_ECCENTRIC |
                                   1u << LAY_FAULT_GHOST | 1u << LAY_FAULT_AXLE | 1u << LAY_FAULT_ROTOR |
                                   1u << LAY_FAULT_UNKNOWN_TONE;

static bool of_mesh(lay_fault_kind kind) {
    return kind == LAY_FAULT_MESH || kind == LAY_FAULT_ECCENTRIC || kind == LAY_FAULT_CHIP || kind == LAY_FAULT_GHOST;
}
static bool of_bearing(lay_fault_kind kind) {
    return kind >= LAY_FAULT_OUTER && kind <= LAY_FAULT_CAGE;
}
bool lay_sim_fault_impulsive(lay_fault_kind kind) {
    return kind == LAY_FAULT_CHIP || of_bearing(kind);
}

bool lay_sim_fault_flank(const lay_fault *fault, lay_load load) {
    switch (load) {
    case LAY_LOAD_DRIVE:
        return fault->drive;
    case LAY_LOAD_COAST:
        return fault->coast;
    default:
        return false;
    }
}

bool lay_sim_fault_sings(const lay_fault *fault, const lay_sim_run *run) {
    const lay_expected *part = NULL;
    if (of_mesh(fault->kind)) {
        part = lay_sim_run_part(run, LAY_PART_MESH, fault->index);
        return part && part->turning && part->loaded && part->order > 0;
    }
    if (of_bearing(fault->kind)) { /* unloaded it is struck weakly, and nobody knows where an unknown element strikes */
        part = lay_sim_run_part(run, LAY_PART_BEARING, fault->index);
        return part && part->turning && part->loaded && lay_sim_bearing_predicted(part, fault->kind) > 0;
    }
    if (fault->kind == LAY_FAULT_AXLE)
        part = lay_sim_run_part(run, LAY_PART_AXLE, 0);
    else if (fault->kind == LAY_FAULT_ROTOR)
        part = lay_sim_run_part(run, LAY_PART_ROTOR, fault->index);
    else
        return fault->kind == LAY_FAULT_UNKNOWN_TONE;
    return part && part->turning && part->order > 0;
}

/* True when some gear lets the fault be heard; forward gears only, unless `reverse`. */
static bool possible(const lay_sim_scene *scene, const lay_fault *fault, bool reverse) {
    bool found = false;
    for (size_t g = 0; g < scene->unit->gear_count && !found; g++) {
        lay_sim_run run = {0};
        if (lay_sim_run_solve(scene->unit, (int)g, &run, NULL) != LAY_OK) continue;
        bool backward = lay_sim_run_backward(scene->unit, &run);
        found = (reverse || !backward) && lay_sim_fault_sings(fault, &run);
        lay_sim_run_free(&run);
    }
    return found;
}

/* A whole number per turn that is no harmonic of a mesh on the same body, nor a near sideband of one. */
static int ghost_multiple(lay_sim_scene *scene, const lay_fault *fault) {
    const lay_unit *unit = scene->unit;
    const lay_mesh *own = &unit->meshes[fault->index];
    int body = fault->wheel == 0 ? own->driver.body : own->driven.body;
    for (int tries = 0; tries < 200; tries++) {
        int n = lay_random_int(&scene->random, 17, 113);
        bool free_of_all = true;
        for (size_t m = 0; m < unit->mesh_count && free_of_all; m++) {
            const lay_wheel *ends[2] = {&unit->meshes[m].driver, &unit->meshes[m].driven};
            for (int w = 0; w < 2; w++)
                if (ends[w]->body == body) {
                    int rest = n % ends[w]->teeth;
                    free_of_all = free_of_all && rest > 3 && ends[w]->teeth - rest > 3;
                }
        }
        if (free_of_all) return n;
    }
    return 101;
}

static double draw_strength(lay_sim_scene *scene, lay_fault_kind kind) {
    const lay_sim_options *o = &scene->options;
    lay_sim_range range = {o->strength_low_db, o->strength_high_db};
    bool chosen = range.low != 0 || range.high != 0;
    if (!chosen && lay_sim_fault_impulsive(kind))
        range = (lay_sim_range){3.5, 14.0}; /* crests 1.5 to 5 times the rms of the noise where they ring */
    else if (!chosen)
        range = (lay_sim_range){8.0, 20.0};
    bool spread = range.high > range.low; /* a single given strength is meant as it is */
    if (kind == LAY_FAULT_ECCENTRIC && spread) range.low -= 2, range.high -= 2; /* its line is stronger still */
    return lay_sim_draw(&scene->random, range);
}

static void draw_flanks(lay_sim_scene *scene, lay_fault *fault) {
    double u = lay_random_unit(&scene->random);
    bool sided = fault->kind == LAY_FAULT_MESH || fault->kind == LAY_FAULT_AXLE || fault->kind == LAY_FAULT_CHIP;
    fault->drive = !sided || u < 0.8;
    fault->coast = !sided || u >= 0.5;
}

static void complete(lay_sim_scene *scene, lay_fault *fault) {
    if (!fault->drive && !fault->coast) draw_flanks(scene, fault);
    if (fault->kind == LAY_FAULT_GHOST && fault->multiple <= 0) fault->multiple = ghost_multiple(scene, fault);
    if (fault->strength_db == 0) fault->strength_db = draw_strength(scene, fault->kind);
}

static size_t choices(const lay_sim_scene *scene, lay_fault_kind kind) {
    const lay_unit *unit = scene->unit;
    if (of_mesh(kind)) return unit->mesh_count;
    if (of_bearing(kind)) return unit->bearing_count;
    if (kind == LAY_FAULT_AXLE) return unit->axle.present && scene->traits->vehicle ? 1 : 0;
    if (kind == LAY_FAULT_ROTOR) return scene->traits->vehicle ? unit->rotor_count : 0;
    return 1;
}

static lay_fault_kind draw_kind(lay_sim_scene *scene, unsigned kinds) {
    double sum = 0;
    for (int k = 1; k < LAY_FAULT_COUNT; k++)
        if (kinds >> k & 1u && choices(scene, (lay_fault_kind)k) > 0) sum += weights[k];
    double u = lay_random_unit(&scene->random) * sum;
    for (int k = 1; k < LAY_FAULT_COUNT; k++)
        if (kinds >> k & 1u && choices(scene, (lay_fault_kind)k) > 0 && (u -= weights[k]) < 0) return (lay_fault_kind)k;
    return LAY_FAULT_NONE;
}

static bool same_part(const lay_fault *a, const lay_fault *b) {
    return a->index == b->index && of_mesh(a->kind) == of_mesh(b->kind) && of_bearing(a->kind) == of_bearing(b->kind);
}

/* From a stream of its own, so that the same seed gives the same job with and without. */
static void draw_condition(const lay_sim_scene *scene, lay_fault *fault) {
    unsigned asked = scene->options.conditions;
    if (!asked || fault->kind != LAY_FAULT_MESH) return;
    lay_random r = lay_sim_stream(&scene->options, LAY_SIM_STREAM_CONDITION);
    do {
        fault->condition = (lay_condition_kind)lay_random_int(&r, 0, LAY_CONDITION_COUNT - 1);
    } while (!(asked >> fault->condition & 1u));
}

static void draw_fault(lay_sim_scene *scene, unsigned kinds) {
    for (int tries = 0; tries < 60; tries++) {
        lay_fault fault = {.kind = draw_kind(scene, kinds)};
        if (fault.kind == LAY_FAULT_NONE) return;
        fault.index = lay_random_int(&scene->random, 0, (int)choices(scene, fault.kind) - 1);
        fault.wheel = lay_random_int(&scene->random, 0, 1);
        bool reverse = lay_random_unit(&scene->random) < 0.15;
        if (!possible(scene, &fault, reverse)) continue;
        if (scene->fault_count > 0 && same_part(&fault, &scene->faults[0])) continue;
        complete(scene, &fault);
        draw_condition(scene, &fault);
        scene->faults[scene->fault_count++] = fault;
        return;
    }
}

static lay_status check_given(const lay_sim_scene *scene, const lay_fault *f, lay_error *err) {
    const lay_unit *unit = scene->unit;
    size_t count = of_mesh(f->kind)             ? unit->mesh_count
                   : of_bearing(f->kind)        ? unit->bearing_count
                   : f->kind == LAY_FAULT_ROTOR ? unit->rotor_count
                   : f->kind == LAY_FAULT_AXLE  ? (size_t)unit->axle.present
                                                : 1;
    bool names_part = of_mesh(f->kind) || of_bearing(f->kind) || f->kind == LAY_FAULT_ROTOR;
    if ((unsigned)f->kind >= LAY_FAULT_COUNT || count == 0 ||
        (names_part && (f->index < 0 || (size_t)f->index >= count)))
        return lay_fail(err, LAY_BAD_INPUT, "the unit has no part for a fault of kind '%s'",
                        lay_fault_kind_name(f->kind));
    if (f->condition != LAY_CONDITION_PLAIN && f->kind != LAY_FAULT_MESH)
        return lay_fail(err, LAY_BAD_INPUT, "only a fault of kind 'mesh' can be '%s'",
                        lay_condition_name(f->condition));
    if (f->wheel < 0 || f->wheel > 1) return lay_fail(err, LAY_BAD_INPUT, "a mesh has two wheels: choose one of them");
    if (!isfinite(f->strength_db))
        return lay_fail(err, LAY_BAD_INPUT, "the strength of a fault must be a number of dB");
    if (!possible(scene, f, true))
        return lay_fail(err, LAY_BAD_INPUT, "the part of the fault '%s' carries no load in any gear",
                        lay_fault_kind_name(f->kind));
    return LAY_OK;
}

static lay_status take_given(lay_sim_scene *scene, lay_error *err) {
    const lay_sim_options *o = &scene->options;
    if (o->fault_count > LAY_SIM_FAULTS_MAX)
        return lay_fail(err, LAY_BAD_INPUT, "at most %d faults can be simulated at once", LAY_SIM_FAULTS_MAX);
    for (size_t i = 0; i < o->fault_count; i++) {
        if (o->faults[i].kind == LAY_FAULT_NONE) continue;
        lay_status status = check_given(scene, &o->faults[i], err);
        if (status != LAY_OK) return status;
        lay_fault fault = o->faults[i];
        complete(scene, &fault);
        scene->faults[scene->fault_count++] = fault;
    }
    return LAY_OK;
}

lay_status lay_sim_scene_faults(lay_sim_scene *scene, lay_error *err) {
    if (scene->options.faults) return take_given(scene, err);
    unsigned kinds = scene->options.kinds ? scene->options.kinds : tone_kinds;
    double healthy = kinds & 1u ? (kinds == 1u ? 1.0 : 0.3) : 0.0;
    if (lay_random_unit(&scene->random) < healthy) return LAY_OK;
    draw_fault(scene, kinds);
    if (lay_random_unit(&scene->random) < 0.05) draw_fault(scene, kinds);
    return LAY_OK;
}
