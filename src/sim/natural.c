/* What a healthy unit and its surroundings sing: no mesh is silent, some are loud by nature. */
#include "scene.h"

#include <math.h>
#include <stdlib.h>

/* Healthy lines: about 8 dB below what masks them, none more than 3 dB above (averaged over a run). */
#define NATURAL_MEAN_DB (-8.0)
#define NATURAL_DEVIATION_DB 5.0
#define NATURAL_CAP_DB 3.0

static double phase(lay_random *r) {
    return lay_random_between(r, 0, 2.0 * LAY_PI);
}

static bool replaced(const lay_sim_scene *scene, lay_fault_kind kind, int index) {
    for (size_t i = 0; i < scene->fault_count; i++) {
        const lay_fault *f = &scene->faults[i];
        bool mesh = f->kind == LAY_FAULT_MESH || f->kind == LAY_FAULT_ECCENTRIC;
        if (f->index == index && (kind == LAY_FAULT_MESH ? mesh : f->kind == kind)) return true;
    }
    return false;
}

static double natural_level(lay_random *r) {
    return fmin(NATURAL_MEAN_DB + NATURAL_DEVIATION_DB * lay_random_normal(r), NATURAL_CAP_DB);
}

/* Transmission error differs from flank to flank and never vanishes without load. */
static void draw_load_law(lay_random *r, lay_sim_voice *v) {
    v->flank[0] = lay_sim_amplitude(lay_random_between(r, -6, 0));
    v->flank[1] = lay_sim_amplitude(lay_random_between(r, -6, 0));
    v->floor_gain = lay_random_between(r, 0.15, 0.6);
    v->idle = lay_sim_amplitude(-lay_random_between(r, 10, 25));
    v->speed_power = lay_random_between(r, 0.3, 1.0);
}

/* Sidebands of a healthy mesh, -15..-5 dB re the line, shared between amplitude and phase modulation. */
static void draw_modulation(lay_random *r, lay_sim_voice *v) {
    for (int w = 0; w < 2; w++) {
        double side = lay_sim_amplitude(lay_random_between(r, -15, -5)), share = lay_random_unit(r);
        v->am[w] = 2.0 * side * share;
        v->fm[w] = 2.0 * side * (1.0 - share);
        v->mod_phase[w] = phase(r);
    }
}

static lay_status add_harmonics(lay_sim_scene *scene, lay_sim_voice v, lay_error *err) {
    lay_random *r = &scene->random;
    int count = lay_random_int(r, 2, 5), strongest = lay_random_unit(r) < 0.65 ? 1 : 2;
    double roll = lay_random_between(r, 3, 12);
    for (int h = 1; h <= count; h++) {
        v.multiple = h;
        v.phase = phase(r);
        v.amplitude = lay_sim_amplitude(-roll * abs(h - strongest) + lay_random_between(r, -3, 3));
        lay_status status = lay_sim_scene_add(scene, &v, err);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}

static unsigned loaded_runs(const lay_sim_scene *scene, const lay_sim_voice *v) {
    unsigned mask = 0;
    for (size_t i = 0; i < scene->run_count; i++) {
        lay_sim_line line;
        bool there = lay_sim_voice_line(v, &scene->runs[i], &line) && line.loaded;
        if (there && scene->runs[i].load != LAY_LOAD_NONE) mask |= 1u << i;
    }
    return mask;
}

static lay_status natural_mesh(lay_sim_scene *scene, lay_sim_carrier carrier, int index, lay_error *err) {
    lay_random *r = &scene->random;
    *r = lay_sim_stream(&scene->options,
                        LAY_SIM_STREAM_MESH + (carrier == LAY_SIM_AXLE ? scene->unit->mesh_count : (uint64_t)index));
    lay_sim_voice v = {.carrier = carrier, .index = index, .multiple = 1, .structure = true, .measured = true};
    draw_load_law(r, &v);
    draw_modulation(r, &v);
    size_t first = scene->voice_count;
    lay_status status = add_harmonics(scene, v, err);
    unsigned mask = loaded_runs(scene, &v);
    double level = natural_level(r) - (mask ? 0.0 : 15.0); /* rattle only: never loaded in this job */
    if (status == LAY_OK) lay_sim_family_set(scene, first, mask, level, NATURAL_CAP_DB);
    return status;
}

static lay_status natural_rotor(lay_sim_scene *scene, int index, lay_error *err) {
    const lay_rotor *rotor = &scene->unit->rotors[index];
    size_t orders = rotor->order_count;
    scene->random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_ROTOR + (uint64_t)index);
    for (size_t i = 0; i < (orders > 0 ? orders : 1); i++) {
        lay_sim_voice v = {.carrier = LAY_SIM_ROTOR,
                           .index = index,
                           .amplitude = 1,
                           .flank = {1, 1},
                           .floor_gain = 1,
                           .speed_power = 1,
                           .measured = true};
        v.multiple = orders > 0 ? rotor->orders[i] : 1.0;
        v.phase = phase(&scene->random);
        size_t first = scene->voice_count;
        lay_status status = lay_sim_scene_add(scene, &v, err);
        if (status != LAY_OK) return status;
        lay_sim_family_set(scene, first, ~0u, natural_level(&scene->random) - 4.0, NATURAL_CAP_DB);
    }
    return LAY_OK;
}

static lay_status engine_line(lay_sim_scene *scene, int multiple, double level_db, lay_error *err) {
    lay_sim_voice v = {.carrier = LAY_SIM_ENGINE,
                       .multiple = multiple,
                       .amplitude = 1,
                       .flank = {1, 0.5},
                       .floor_gain = 0.4,
                       .speed_power = 0.5,
                       .cabin = true,
                       .measured = true};
    v.phase = phase(&scene->random);
    size_t first = scene->voice_count;
    lay_status status = lay_sim_scene_add(scene, &v, err);
    if (status == LAY_OK) lay_sim_family_set(scene, first, ~0u, level_db, 60.0);
    return status;
}

/* Firing orders 1..8 decaying from the world's level; half orders of uneven combustion up to twice the firing order. */
static lay_status engine(lay_sim_scene *scene, lay_error *err) {
    if (!scene->unit->engine.present) return LAY_OK;
    lay_random *r = &scene->random;
    int cylinders = scene->unit->engine.cylinders;
    double level = lay_sim_draw(r, scene->traits->engine_db) + scene->options.engine_db,
           decay = lay_random_between(r, 3, 6);
    double unevenness = lay_random_between(r, 10, 22);
    lay_status status = LAY_OK;
    for (int i = 1; i <= 2 * cylinders && status == LAY_OK; i++)
        if (i % cylinders != 0)
            status =
                engine_line(scene, i, level - unevenness - decay * i / cylinders + 4.0 * lay_random_normal(r), err);
    for (int k = 1; k <= 8 && status == LAY_OK; k++)
        status = engine_line(scene, k * cylinders, level - decay * (k - 1) + 3.0 * lay_random_normal(r), err);
    return status;
}

static lay_status fixed_tone(lay_sim_scene *scene, double hz, double level_db, lay_error *err) {
    lay_sim_voice v = {
        .carrier = LAY_SIM_FIXED, .multiple = hz, .amplitude = 1, .flank = {1, 1}, .floor_gain = 1, .measured = true};
    v.phase = phase(&scene->random);
    size_t first = scene->voice_count;
    lay_status status = lay_sim_scene_add(scene, &v, err);
    if (status == LAY_OK) lay_sim_family_set(scene, first, ~0u, level_db, 60.0);
    return status;
}

/* Mains hum with harmonics; the drive's switching frequency, its double and a pair of side tones. */
static lay_status electric(lay_sim_scene *scene, lay_error *err) {
    lay_random *r = &scene->random;
    lay_status status = LAY_OK;
    double mains = lay_random_unit(r) < 0.5 ? 50.0 : 60.0, hum = lay_random_between(r, 0, 15);
    for (int k = 1; k <= 6 && scene->traits->mains && status == LAY_OK; k++)
        status = fixed_tone(scene, k * mains, hum - 4.0 * (k - 1) + (k % 2 == 0 ? 6.0 : 0.0), err);
    if (!scene->traits->inverter || status != LAY_OK) return status;
    double carrier = 1000.0 * lay_random_int(r, 2, 6), level = lay_random_between(r, 5, 20), apart = 4.0 * mains;
    const double hz[] = {carrier, 2.0 * carrier, carrier - apart, carrier + apart}, down[] = {0, 6, 8, 8};
    for (int i = 0; i < 4 && status == LAY_OK; i++) status = fixed_tone(scene, hz[i], level - down[i], err);
    return status;
}

lay_status lay_sim_scene_natural(lay_sim_scene *scene, lay_error *err) {
    const lay_unit *unit = scene->unit;
    lay_status status = LAY_OK;
    for (size_t m = 0; m < unit->mesh_count && status == LAY_OK; m++)
        if (!replaced(scene, LAY_FAULT_MESH, (int)m)) status = natural_mesh(scene, LAY_SIM_MESH, (int)m, err);
    scene->random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_SURROUNDINGS);
    if (status == LAY_OK) status = electric(scene, err);
    if (status != LAY_OK || !scene->traits->vehicle) return status;
    if (unit->axle.present && !replaced(scene, LAY_FAULT_AXLE, 0)) status = natural_mesh(scene, LAY_SIM_AXLE, 0, err);
    for (size_t i = 0; i < unit->rotor_count && status == LAY_OK; i++)
        if (!replaced(scene, LAY_FAULT_ROTOR, (int)i)) status = natural_rotor(scene, (int)i, err);
    scene->random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_SURROUNDINGS);
    return status == LAY_OK ? engine(scene, err) : status;
}
