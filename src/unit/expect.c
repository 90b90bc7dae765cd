/* Body speeds -> what every part can be heard at. */
#include <layshaft/unit.h>

#include "ratio.h"

#include <math.h>
#include <stdlib.h>

/* Turns per turn of the reference, without sign; 0 for a body that is not driven. */
static double turns(const lay_kinematics *k, int body) {
    return k->free_body[body] ? 0 : fabs(k->speed[body].value);
}

/* Repeat of one pair of teeth, order g / (z1 z2), and the number of ways the wheels can be assembled, g
 * (Foiles, Gear Frequencies Using the Euclidean Algorithm): g = 1 is a hunting-tooth pair. */
static void expect_teeth(lay_expected *e, int z1, int z2) {
    e->teeth[0] = z1;
    e->teeth[1] = z2;
    e->assembly_phases = (int)unit_gcd(z1, z2);
    e->hunting_order = e->order * e->assembly_phases / ((double)z1 * z2);
    e->wheel_order[0] = e->order / z1;
    e->wheel_order[1] = e->order / z2;
}

static void expect_mesh(const lay_unit *u, const lay_kinematics *k, size_t m, lay_expected *e) {
    const lay_mesh *mesh = &u->meshes[m];
    *e = (lay_expected){.type = LAY_PART_MESH, .index = (int)m, .name = mesh->name};
    e->order = k->mesh_order[m];
    e->turning = e->order > 0;
    e->loaded = k->loaded[m] && e->turning;
    e->wheel_body[0] = mesh->driver.body;
    e->wheel_body[1] = mesh->driven.body;
    expect_teeth(e, mesh->driver.teeth, mesh->driven.teeth);
}

/* Both rings turning, fi and fo with their signs: everything but the cage goes with |fi - fo|, the cage with
 * fi FTF + fo (1 - FTF) (Harris, Rolling Bearing Analysis; Randall & Antoni 2011: values from memory of the
 * works; reduces to the fixed-outer formulas of the SNFA catalogue). Multiples that are unknown stay 0. */
static void expect_bearing(const lay_unit *u, const lay_kinematics *k, size_t i, lay_expected *e) {
    const lay_bearing *b = &u->bearings[i];
    *e = (lay_expected){.type = LAY_PART_BEARING, .index = (int)i, .name = b->name, .tolerance = b->tolerance};
    e->wheel_body[0] = b->inner;
    e->wheel_body[1] = b->outer;
    if (k->free_body[b->inner] || k->free_body[b->outer]) return;
    double fi = k->speed[b->inner].value, fo = k->speed[b->outer].value, relative = fabs(fi - fo);
    bool exact = k->speed[b->inner].exact && k->speed[b->outer].exact;
    if (relative <= (exact ? 0 : 1e-9)) relative = 0;
    e->order = relative;
    e->turning = relative > 0;
    bool inner_carries = b->inner != LAY_CASE && k->carries[b->inner];
    bool outer_carries = b->outer != LAY_CASE && k->carries[b->outer];
    e->loaded = e->turning && (inner_carries || outer_carries);
    e->bpfo = b->bpfo * relative;
    e->bpfi = b->bpfi * relative;
    e->bsf2 = 2 * b->bsf * relative;
    e->ftf = b->ftf > 0 ? fabs(fi * b->ftf + fo * (1 - b->ftf)) : 0;
    e->ring_order[0] = fabs(fi);
    e->ring_order[1] = fabs(fo);
}

/* A cylinder fires once per cycle; a cycle is strokes / 2 turns. */
static void expect_engine(const lay_unit *u, const lay_kinematics *k, lay_expected *e) {
    const lay_engine *engine = &u->engine;
    double w = turns(k, engine->body), turns_per_cycle = engine->strokes / 2.0;
    *e = (lay_expected){.type = LAY_PART_ENGINE, .name = "engine", .wheel_body = {engine->body, -1}};
    e->order = engine->cylinders / turns_per_cycle * w;
    e->cycle_order = w / turns_per_cycle;
    e->wheel_order[0] = w;
    e->turning = e->loaded = w > 0;
}

static void expect_axle(const lay_unit *u, const lay_kinematics *k, lay_expected *e) {
    const lay_axle *axle = &u->axle;
    *e = (lay_expected){.type = LAY_PART_AXLE, .name = "axle", .wheel_body = {axle->body, -1}};
    e->order = axle->pinion * turns(k, axle->body);
    e->turning = e->order > 0;
    e->loaded = e->turning && k->carries[axle->body];
    expect_teeth(e, axle->pinion, axle->ring);
}

static void expect_rotor(const lay_unit *u, const lay_kinematics *k, size_t i, lay_expected *e) {
    const lay_rotor *r = &u->rotors[i];
    *e = (lay_expected){.type = LAY_PART_ROTOR, .index = (int)i, .name = r->name, .wheel_body = {r->body, -1}};
    e->order = r->ratio * turns(k, r->body);
    e->wheel_order[0] = e->order;
    e->turning = e->loaded = e->order > 0;
    e->multiples = r->orders;
    e->multiple_count = r->order_count;
}

lay_status lay_unit_expect(const lay_unit *unit, const lay_kinematics *k, lay_expected **out, size_t *count,
                           lay_error *err) {
    *out = NULL;
    *count = 0;
    size_t most = unit->mesh_count + unit->bearing_count + unit->rotor_count + 2;
    lay_expected *e = lay_calloc(most, sizeof *e);
    if (!e) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to list the expected orders");
    size_t n = 0;
    for (size_t i = 0; i < unit->mesh_count; i++) expect_mesh(unit, k, i, &e[n++]);
    for (size_t i = 0; i < unit->bearing_count; i++) expect_bearing(unit, k, i, &e[n++]);
    if (unit->engine.present) expect_engine(unit, k, &e[n++]);
    if (unit->axle.present) expect_axle(unit, k, &e[n++]);
    for (size_t i = 0; i < unit->rotor_count; i++) expect_rotor(unit, k, i, &e[n++]);
    *out = e;
    *count = n;
    return LAY_OK;
}
