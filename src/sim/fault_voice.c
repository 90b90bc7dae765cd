/* The lines a fault adds, set to its strength in the runs in which it sings under full load. */
#include "condition.h"

#include <math.h>
#include <stdlib.h>

static double phase(lay_random *r) {
    return lay_random_between(r, 0, 2.0 * LAY_PI);
}

static const double no_cap_db = 200.0;

/* The runs that define the strength: driven, loaded, on a flank that sings; all with load when there is none such. */
static unsigned singing(const lay_sim_scene *scene, const lay_fault *fault) {
    unsigned full = 0, some = 0;
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_sim_run *run = &scene->runs[i];
        if (!lay_sim_fault_sings(fault, run)) continue;
        if (lay_sim_fault_flank(fault, run->load)) full |= 1u << i;
        some |= 1u << i;
    }
    return full ? full : some;
}

/* The healthy flank is 10 to 20 dB quieter. */
static void set_flanks(lay_random *r, const lay_fault *fault, lay_sim_voice *v) {
    double quiet = lay_sim_amplitude(-lay_random_between(r, 10, 20));
    v->flank[0] = fault->drive ? 1.0 : quiet;
    v->flank[1] = fault->coast ? 1.0 : quiet;
    v->floor_gain = lay_random_between(r, 0.2, 0.5);
    v->idle = lay_sim_amplitude(-lay_random_between(r, 14, 25));
    v->speed_power = lay_random_between(r, 0.3, 1.0);
}

/* Worn flanks: harmonics with the strongest among the first three. */
static lay_status whine(lay_sim_scene *scene, const lay_fault *fault, lay_sim_carrier carrier, lay_error *err) {
    lay_random *r = &scene->random;
    lay_sim_voice v = {.carrier = carrier, .index = fault->index, .structure = true, .measured = true};
    set_flanks(r, fault, &v);
    for (int w = 0; w < 2; w++) {
        v.am[w] = 2.0 * lay_sim_amplitude(lay_random_between(r, -24, -12));
        v.mod_phase[w] = phase(r);
    }
    static const int strongest_of[] = {1, 1, 1, 1, 1, 2, 2, 2, 3, 3};
    int strongest = strongest_of[lay_random_int(r, 0, 9)], count = lay_random_int(r, strongest, 5);
    double roll = lay_random_between(r, 4, 12);
    for (int h = 1; h <= count; h++) {
        v.multiple = h;
        v.phase = phase(r);
        v.amplitude =
            h == strongest ? 1.0 : lay_sim_amplitude(-roll * abs(h - strongest) - lay_random_between(r, 1, 5));
        lay_status status = lay_sim_scene_add(scene, &v, err);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}

/* A wheel that runs out modulates its mesh in depth and phase: unequal sidebands one and two turns either side, the
 * stronger -1..-10 dB re the line, and a line once per turn. */
static lay_status eccentric(lay_sim_scene *scene, const lay_fault *fault, lay_error *err) {
    lay_random *r = &scene->random;
    lay_sim_voice v = {.carrier = LAY_SIM_MESH, .index = fault->index, .wheel = fault->wheel, .structure = true};
    set_flanks(r, fault, &v);
    int count = lay_random_int(r, 1, 3);
    double roll = lay_random_between(r, 4, 10), side_db = lay_random_between(r, -10, -1);
    double uneven_db = lay_random_between(r, 0, 6);
    bool upper = lay_random_unit(r) < 0.5;
    lay_status status = LAY_OK;
    for (int h = 1; h <= count; h++)
        for (int s = -2; s <= 2 && status == LAY_OK; s++) {
            double db = -roll * (h - 1) + (s == 0 ? 0 : side_db * (s * s > 1 ? 2.0 : 1.0) - (s * s > 1 ? 3.0 : 0.0));
            if (s != 0 && (s > 0) != upper) db -= uneven_db;
            v.multiple = h;
            v.sideband = s;
            v.phase = phase(r);
            v.amplitude = lay_sim_amplitude(db);
            v.measured = s == 1 || s == -1;
            status = lay_sim_scene_add(scene, &v, err);
        }
    if (status != LAY_OK) return status;
    v = (lay_sim_voice){.carrier = LAY_SIM_WHEEL,
                        .index = fault->index,
                        .wheel = fault->wheel,
                        .multiple = 1,
                        .flank = {1, 1},
                        .floor_gain = 0.7,
                        .idle = 0.5,
                        .speed_power = 1,
                        .phase = phase(r),
                        .structure = true};
    v.amplitude = lay_sim_amplitude(side_db - lay_random_between(r, 0, 8));
    return lay_sim_scene_add(scene, &v, err);
}

/* True when `order` keeps clear of everything the unit, its engine and rotors can make in this run. */
static bool clear_of_parts(const lay_sim_run *run, double order) {
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        double base = e->type == LAY_PART_ENGINE ? e->cycle_order : e->order;
        if (base <= 0) continue;
        double rest = fabs(order / base - round(order / base)) * base;
        if (rest < 0.1 + 0.004 * order && order < 12.0 * fmax(base, 2.0)) return false;
    }
    return true;
}

static bool clear_everywhere(const lay_sim_scene *scene, const lay_sim_voice *v) {
    for (size_t i = 0; i < scene->run_count; i++) {
        lay_sim_line line;
        if (lay_sim_voice_line(v, &scene->runs[i], &line) && !clear_of_parts(&scene->runs[i], line.order)) return false;
    }
    return true;
}

/* An order of the crankshaft or of the road that belongs to no part of the unit file. */
static lay_status unknown_tone(lay_sim_scene *scene, lay_error *err) {
    lay_random *r = &scene->random;
    bool road = scene->traits->vehicle && lay_random_unit(r) < 0.4;
    lay_sim_voice v = {.carrier = road ? LAY_SIM_OUTPUT : LAY_SIM_REFERENCE,
                       .amplitude = 1,
                       .flank = {1, 1},
                       .floor_gain = 0.8,
                       .speed_power = 0.5,
                       .structure = lay_random_unit(r) < 0.5,
                       .measured = true};
    for (int tries = 0; tries < 500; tries++) {
        v.multiple = 0.5 * lay_random_int(r, road ? 16 : 6, 80) + lay_random_between(r, 0.15, 0.35);
        if (clear_everywhere(scene, &v)) break;
    }
    v.phase = phase(r);
    return lay_sim_scene_add(scene, &v, err);
}

static lay_status rotor_tone(lay_sim_scene *scene, const lay_fault *fault, lay_error *err) {
    lay_random *r = &scene->random;
    const lay_rotor *rotor = &scene->unit->rotors[fault->index];
    lay_sim_voice v = {.carrier = LAY_SIM_ROTOR,
                       .index = fault->index,
                       .flank = {1, 1},
                       .floor_gain = 0.8,
                       .speed_power = 0.8,
                       .measured = true};
    size_t count = rotor->order_count, loud = count > 1 ? (size_t)lay_random_int(r, 1, (int)count - 1) : 0;
    lay_status status = LAY_OK;
    for (size_t i = 0; i < (count ? count : 1) && status == LAY_OK; i++) {
        v.multiple = count ? rotor->orders[i] : 1.0;
        v.phase = phase(r);
        v.amplitude = i == loud ? 1.0 : lay_sim_amplitude(-lay_random_between(r, 6, 20));
        status = lay_sim_scene_add(scene, &v, err);
    }
    return status;
}

static lay_status ghost(lay_sim_scene *scene, const lay_fault *fault, lay_error *err) {
    lay_random *r = &scene->random;
    lay_sim_voice v = {.carrier = LAY_SIM_WHEEL,
                       .index = fault->index,
                       .wheel = fault->wheel,
                       .multiple = fault->multiple,
                       .amplitude = 1,
                       .structure = true,
                       .measured = true};
    set_flanks(r, fault, &v);
    v.floor_gain = lay_random_between(r, 0.6, 0.9);
    v.phase = phase(r);
    return lay_sim_scene_add(scene, &v, err);
}

static lay_status conditioned(lay_sim_scene *scene, const lay_fault *fault, lay_error *err) {
    lay_sim_voice v = {.carrier = LAY_SIM_MESH, .index = fault->index, .wheel = fault->wheel, .structure = true};
    set_flanks(&scene->random, fault, &v);
    return lay_sim_condition_voices(scene, fault, &v, err);
}

static lay_status add_voices(lay_sim_scene *scene, const lay_fault *fault, lay_error *err) {
    switch (fault->kind) {
    case LAY_FAULT_MESH:
        return fault->condition == LAY_CONDITION_PLAIN ? whine(scene, fault, LAY_SIM_MESH, err)
                                                       : conditioned(scene, fault, err);
    case LAY_FAULT_AXLE:
        return whine(scene, fault, LAY_SIM_AXLE, err);
    case LAY_FAULT_ECCENTRIC:
        return eccentric(scene, fault, err);
    case LAY_FAULT_GHOST:
        return ghost(scene, fault, err);
    case LAY_FAULT_ROTOR:
        return rotor_tone(scene, fault, err);
    case LAY_FAULT_UNKNOWN_TONE:
        return unknown_tone(scene, err);
    default:
        return LAY_OK; /* impacts are no voices: trains.c */
    }
}

lay_status lay_sim_scene_fault_voices(lay_sim_scene *scene, lay_error *err) {
    for (size_t i = 0; i < scene->fault_count; i++) {
        size_t first = scene->voice_count;
        lay_status status = add_voices(scene, &scene->faults[i], err);
        if (status != LAY_OK) return status;
        if (scene->voice_count > first)
            lay_sim_family_set(scene, first, singing(scene, &scene->faults[i]), scene->faults[i].strength_db,
                               no_cap_db);
    }
    return LAY_OK;
}
