#include "twins.h"

#include "bearing.h"

#include <math.h>

#define SAME_ORDER 0.02  /* orders nearer than this are one line in any recording of a few seconds */
#define SAME_TRAIN 0.005 /* the same for the line of impacts, whose harmonics sharpen it */
#define SLIP 0.02        /* how far a bearing's line may lie from its place: 1 to 2 %, as in bearing.c */

/* One of the wheels of `b` turns as fast as the one at fault. */
static bool turns_alike(const lay_expected *a, int wheel, const lay_expected *b) {
    double order = a->wheel_order[wheel];
    return fabs(b->wheel_order[0] - order) < 1e-6 * order || fabs(b->wheel_order[1] - order) < 1e-6 * order;
}

static bool same_tones(const lay_sim_scene *scene, const lay_fault *f, const lay_expected *part,
                       const lay_expected *other) {
    bool together = false;
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_expected *a = lay_sim_run_part(&scene->runs[i], part->type, part->index);
        const lay_expected *b = lay_sim_run_part(&scene->runs[i], other->type, other->index);
        if (!a || !b || !a->turning || a->order <= 0) continue;
        if (!b->turning || !lay_expected_same(a, b, SAME_ORDER, NULL)) return false;
        if (f->kind == LAY_FAULT_ECCENTRIC && !turns_alike(a, f->wheel, b)) return false;
        together = true;
    }
    return together;
}

/* Waves on one wheel make the same tone as waves on any other that turns with it; only load tells whose they are. */
static bool same_ghosts(const lay_sim_scene *scene, const lay_fault *f, const lay_expected *part,
                        const lay_expected *other) {
    bool together = false;
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_expected *a = lay_sim_run_part(&scene->runs[i], LAY_PART_MESH, part->index);
        const lay_expected *b = lay_sim_run_part(&scene->runs[i], LAY_PART_MESH, other->index);
        if (!a || !b || (!a->turning && !b->turning)) continue;
        if (a->turning != b->turning || a->loaded != b->loaded || !turns_alike(a, f->wheel, b)) return false;
        together = true;
    }
    return together;
}

/* ---- bearings ---- */

static bool struck_alike(const lay_sim_scene *scene, const lay_sim_run *run, lay_fault_kind kind, const lay_expected *a,
                         const lay_expected *b) {
    lay_sim_bearing_orders orders;
    if (!lay_sim_bearing_solve(scene, run, a->index, &orders)) return false;
    double order = lay_sim_bearing_order(&orders, kind), there = lay_sim_bearing_predicted(b, kind);
    double room = fmax(b->tolerance, SLIP);
    if (!(there > 0) || fabs(order - there) > SAME_TRAIN + room * there) return false;
    double zone = lay_sim_bearing_zone(a, orders.cage, kind), zone_there = lay_sim_bearing_zone(b, b->ftf, kind);
    double cage_room = kind == LAY_FAULT_ELEMENT ? room * zone_there : 0.0;
    return fabs(zone - zone_there) <= SAME_ORDER + cage_room;
}

/* A run in which only one of the two turns tells them apart as well. */
static bool same_impacts(const lay_sim_scene *scene, lay_fault_kind kind, const lay_expected *part,
                         const lay_expected *other) {
    bool together = false;
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_sim_run *run = &scene->runs[i];
        const lay_expected *a = lay_sim_run_part(run, LAY_PART_BEARING, part->index);
        const lay_expected *b = lay_sim_run_part(run, LAY_PART_BEARING, other->index);
        if (!a || !b || (!a->turning && !(b->turning && b->loaded))) continue;
        if (!a->turning || !b->turning || !struck_alike(scene, run, kind, a, b)) return false;
        together = true;
    }
    return together;
}

/* ---- chips ---- */

static lay_load flank_of(lay_load load) {
    return load == LAY_LOAD_STEADY ? LAY_LOAD_DRIVE : load;
}

/* Only runs on a damaged flank count: on the other one it may be silent. */
static bool same_chips(const lay_sim_scene *scene, const lay_fault *f, const lay_expected *part,
                       const lay_expected *other) {
    bool together = false;
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_sim_run *run = &scene->runs[i];
        const lay_expected *a = lay_sim_run_part(run, LAY_PART_MESH, part->index);
        const lay_expected *b = lay_sim_run_part(run, LAY_PART_MESH, other->index);
        if (!a || !b || !lay_sim_fault_flank(f, flank_of(run->load)) || (!a->loaded && !b->loaded)) continue;
        if (a->loaded != b->loaded || !turns_alike(a, f->wheel, b)) return false;
        together = true;
    }
    return together;
}

bool lay_sim_inseparable(const lay_sim_scene *scene, const lay_fault *f, const lay_expected *part,
                         const lay_expected *other) {
    if (f->kind == LAY_FAULT_CHIP) return same_chips(scene, f, part, other);
    if (f->kind == LAY_FAULT_GHOST) return same_ghosts(scene, f, part, other);
    if (part->type == LAY_PART_BEARING) return same_impacts(scene, f->kind, part, other);
    return same_tones(scene, f, part, other);
}
