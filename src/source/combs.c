#include "combs.h"

#include <math.h>

static void add(lay_combs *c, double order) {
    if (!(order > 1e-3)) return;
    for (size_t i = 0; i < c->count; i++)
        if (fabs(c->order[i] - order) < 1e-6) return;
    if (c->count < LAY_COMBS) c->order[c->count++] = order;
}

/* Injectors strike once per cylinder and cycle, valves twice, and no two cylinders alike. */
static void add_engine(lay_combs *c, const lay_expected *e) {
    c->firing = e->order;
    add(c, e->cycle_order);
    add(c, 2 * e->cycle_order);
    add(c, e->order);
}

static bool toothed(const lay_run_evidence *run) {
    for (size_t i = 0; i < run->expected_count; i++)
        if (run->expected[i].type == LAY_PART_MESH) return true;
    return false;
}

void lay_combs_collect(const lay_run_evidence *run, lay_combs *out) {
    *out = (lay_combs){0};
    const lay_expected *engine = lay_run_engine(run);
    if (engine)
        add_engine(out, engine);
    else if (toothed(run))
        add(out, 0.5); /* the reference may be a crank all the same: half orders of a four-stroke */
    for (size_t b = 1; b < run->kinematics.body_count; b++)
        if (!run->kinematics.free_body[b]) add(out, fabs(run->kinematics.speed[b].value));
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if (!e->turning) continue;
        if (e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE)
            for (int w = 0; w < 2; w++) add(out, e->wheel_order[w]);
        if (e->type == LAY_PART_ROTOR) add(out, e->order);
    }
}
