/* Impacts of faults: bearings and chipped teeth. */
#include "bearing.h"
#include "trains.h"

#include <math.h>

static const lay_sim_ring_range fault_ring = {2000, 10000, 8, 25};

/* ---- chipped teeth ---- */

static int chipped_body(const lay_sim_scene *scene, const lay_fault *f) {
    const lay_mesh *mesh = &scene->unit->meshes[f->index];
    return f->wheel == 0 ? mesh->driver.body : mesh->driven.body;
}

bool lay_sim_chip_marked(const lay_sim_scene *scene, size_t fault) {
    const lay_fault *f = &scene->faults[fault];
    bool fixed_axes = scene->unit->meshes[f->index].carrier == LAY_CASE; /* else it turns against its carrier */
    return scene->options.tach && fixed_axes && scene->tach.per_turn == 1 && scene->tach.body == chipped_body(scene, f);
}

static double speed_of(const lay_sim_run *run, int body) {
    return run->kinematics.speed[body].value;
}

/* Drawn for the sense in which the wheel turns in the first run that loads it. */
double lay_sim_chip_angle(const lay_sim_scene *scene, size_t fault, const lay_sim_run *run) {
    const lay_fault *f = &scene->faults[fault];
    lay_random random = lay_sim_source(scene, LAY_SIM_SOURCE_CHIP + fault);
    double angle = lay_random_unit(&random), sense = 1;
    int body = chipped_body(scene, f);
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_expected *mesh = lay_sim_run_part(&scene->runs[i], LAY_PART_MESH, f->index);
        if (!mesh || !mesh->loaded) continue;
        sense = speed_of(&scene->runs[i], body);
        break;
    }
    return sense * speed_of(run, body) < 0 ? 1.0 - angle : angle;
}

/* Locked to its wheel, where the mesh carries load; much weaker on the flank that is whole. */
static void chip(lay_sim_trains *t, size_t index, lay_random *random) {
    const lay_fault *f = &t->scene->faults[index];
    const lay_expected *mesh = lay_sim_run_part(t->run, LAY_PART_MESH, f->index);
    if (!mesh || !mesh->turning || !mesh->loaded) return;
    lay_sim_impacts *item = lay_sim_trains_add(t, random, &fault_ring);
    if (!item) return;
    item->order = mesh->wheel_order[f->wheel];
    item->peak = t->band * lay_sim_amplitude(f->strength_db);
    item->scatter = 0.15;
    item->flank[0] = f->drive ? 1.0 : 0.2;
    item->flank[1] = f->coast ? 1.0 : 0.2;
    item->next /= item->order; /* anywhere in its turn */
    if (t->pulses && lay_sim_chip_marked(t->scene, index)) {
        double turn = t->pulses->next_rise + lay_sim_chip_angle(t->scene, index, t->run);
        item->next = (turn - floor(turn)) / item->order;
    }
}

/* ---- bearings ---- */

/* A defect of an element strikes the two rings in turn, and not alike. */
static void uneven_pair(lay_sim_impacts *item, double weaker) {
    item->pattern[0] = 1.0;
    item->pattern[1] = weaker;
    item->pattern_count = 2;
    item->pattern_at = lay_random_int(&item->random, 0, 1);
}

/* Intervals scatter by 1 to 2 % as a random walk. The size follows the load zone; a bearing that only turns along is
 * struck with 0.3 to 0.6 of the force. */
static void bearing(lay_sim_trains *t, const lay_fault *f, lay_random *random) {
    const lay_expected *e = lay_sim_run_part(t->run, LAY_PART_BEARING, f->index);
    lay_sim_bearing_orders orders;
    if (!e || !lay_sim_bearing_solve(t->scene, t->run, f->index, &orders)) return;
    lay_sim_impacts *item = lay_sim_trains_add(t, random, &fault_ring);
    if (!item) return;
    item->jitter = lay_random_between(random, 0.01, 0.02);
    double idle = lay_random_between(random, 0.3, 0.6), weaker = lay_random_between(random, 0.5, 1.0);
    double width = lay_random_between(random, 0.8, 1.6);
    bool loaded = e->loaded && t->run->load != LAY_LOAD_NONE;
    item->order = lay_sim_bearing_order(&orders, f->kind);
    item->peak = t->band * lay_sim_amplitude(f->strength_db) * (loaded ? 1.0 : idle);
    item->scatter = f->kind == LAY_FAULT_CAGE ? 0.35 : 0.2; /* a cage rubs more than it strikes */
    item->zone_order = lay_sim_bearing_zone(e, orders.cage, f->kind);
    item->zone_width = item->zone_order > 0 ? width : 0.0;
    item->zone_phase = lay_random_unit(&item->random);
    if (item->order > 0) item->next /= item->order;
    if (f->kind == LAY_FAULT_ELEMENT) uneven_pair(item, weaker);
}

void lay_sim_trains_faults(lay_sim_trains *t) {
    for (size_t i = 0; i < t->scene->fault_count; i++) {
        const lay_fault *f = &t->scene->faults[i];
        lay_random random = lay_sim_source(t->scene, i);
        if (f->kind == LAY_FAULT_CHIP)
            chip(t, i, &random);
        else if (f->kind >= LAY_FAULT_OUTER && f->kind <= LAY_FAULT_CAGE)
            bearing(t, f, &random);
    }
}
