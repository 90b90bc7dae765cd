/* What only the whole file shows: planets that fit, gears that can be engaged. */
#include "parser.h"
#include "train.h"

#include <stdlib.h>
#include <string.h>

/* Profile shift lets a ring differ a little from sun + 2 planets. */
#define TEETH_OF_SHIFT 2

static const struct unit_entry *mesh_entry(const struct unit_parser *p, size_t mesh, const char *key) {
    return unit_find_entry(p->mesh_sections[mesh], key);
}

/* The wheel of a mesh that sits on `body`, and the one it runs with. */
static const lay_wheel *wheel_on(const lay_mesh *m, int body, const lay_wheel **partner) {
    bool first = m->driver.body == body;
    if (!first && m->driven.body != body) return NULL;
    *partner = first ? &m->driven : &m->driver;
    return first ? &m->driver : &m->driven;
}

static lay_status check_assembly(struct unit_parser *p, size_t sun_mesh, size_t ring_mesh, int sun, int planet,
                                 int ring) {
    const lay_mesh *a = &p->unit->meshes[sun_mesh], *b = &p->unit->meshes[ring_mesh];
    const struct unit_entry *wheels = mesh_entry(p, ring_mesh, "wheels");
    struct unit_slice place = p->mesh_sections[ring_mesh]->head;
    if (abs(ring - sun - 2 * planet) > TEETH_OF_SHIFT)
        return UNIT_FAIL(p, place, "a sun of %d and planets of %d need a ring of about %d teeth, not %d", sun, planet,
                         sun + 2 * planet, ring);
    if (a->wheels > 1 && b->wheels > 1 && a->wheels != b->wheels)
        return UNIT_FAIL(p, wheels->value, "the same planets mesh in '%s' and '%s': 'wheels' must be the same", a->name,
                         b->name);
    int planets = a->wheels > b->wheels ? a->wheels : b->wheels;
    if ((sun + ring) % planets == 0) return LAY_OK;
    if (!wheels) wheels = mesh_entry(p, sun_mesh, "wheels");
    return UNIT_FAIL(p, wheels->value,
                     "%d planets cannot be assembled evenly: sun + ring (%d + %d) must be a multiple of "
                     "their number",
                     planets, sun, ring);
}

/* A planet runs between a sun (external mesh) and a ring (internal mesh) of one carrier. */
static lay_status check_planet(struct unit_parser *p, size_t sun_mesh, size_t ring_mesh, int body) {
    const lay_mesh *a = &p->unit->meshes[sun_mesh], *b = &p->unit->meshes[ring_mesh];
    const lay_wheel *sun = NULL, *ring = NULL;
    const lay_wheel *with_sun = wheel_on(a, body, &sun), *with_ring = wheel_on(b, body, &ring);
    if (!with_sun || !with_ring || sun->body == ring->body) return LAY_OK;
    bool sun_carried = a->carrier != LAY_CASE, ring_carried = b->carrier != LAY_CASE;
    if (sun_carried != ring_carried) {
        size_t bare = sun_carried ? ring_mesh : sun_mesh;
        int carrier = sun_carried ? a->carrier : b->carrier;
        if (mesh_entry(p, bare, "carrier")) return LAY_OK; /* said on purpose */
        return UNIT_FAIL(p, p->mesh_sections[bare]->head,
                         "'%s' is carried by '%s' in another mesh: add 'carrier = %s' here", p->unit->bodies[body].name,
                         p->unit->bodies[carrier].name, p->unit->bodies[carrier].name);
    }
    if (!sun_carried && !mesh_entry(p, ring_mesh, "carrier")) return LAY_OK; /* a plain train with an internal wheel */
    if (a->carrier != b->carrier) return LAY_OK;
    if (ring->teeth <= with_ring->teeth)
        return UNIT_FAIL(p, p->mesh_sections[ring_mesh]->head,
                         "the ring '%s' (%d teeth) must be larger than the planet '%s' (%d teeth) that runs in it",
                         p->unit->bodies[ring->body].name, ring->teeth, p->unit->bodies[body].name, with_ring->teeth);
    if (with_sun->teeth != with_ring->teeth) return LAY_OK; /* stepped planets: other conditions */
    return check_assembly(p, sun_mesh, ring_mesh, sun->teeth, with_sun->teeth, ring->teeth);
}

static lay_status check_planets(struct unit_parser *p) {
    const lay_unit *u = p->unit;
    for (size_t i = 0; i < u->mesh_count; i++)
        for (size_t j = 0; j < u->mesh_count; j++) {
            if (u->meshes[i].internal || !u->meshes[j].internal) continue;
            lay_status status = check_planet(p, i, j, u->meshes[i].driver.body);
            if (status == LAY_OK) status = check_planet(p, i, j, u->meshes[i].driven.body);
            if (status != LAY_OK) return status;
        }
    return LAY_OK;
}

/* The error of the solver again, now with the line it concerns. */
static lay_status point_at(struct unit_parser *p, int gear, struct unit_conflict where) {
    struct unit_slice place = p->gear_sections[gear]->head;
    if (where.lock >= 0) place = p->gear_sections[gear]->entries[where.lock].value;
    if (where.mesh >= 0) place = p->mesh_sections[where.mesh]->head;
    char message[sizeof p->err->message];
    memcpy(message, p->err->message, sizeof message);
    return UNIT_FAIL(p, place, "%s", message);
}

static lay_status fail_ungeared(struct unit_parser *p, int gear) {
    const struct unit_section *s = p->ini.sections;
    while (!unit_slice_is(s->kind, "axle")) s++; /* the tyre stands there */
    return UNIT_FAIL(
        p, s->head,
        "in gear %s the wheels would turn as fast as '%s': add 'pinion = ' and 'ring = ' of the final drive, "
        "or say which body turns with the wheels",
        p->unit->gears[gear].name, p->unit->bodies[p->unit->reference].name);
}

static lay_status check_gears(struct unit_parser *p) {
    for (size_t g = 0; g < p->unit->gear_count; g++) {
        lay_kinematics k;
        struct unit_conflict where;
        lay_status status = unit_solve_gear(p->unit, (int)g, &k, &where, p->err);
        bool geared = status != LAY_OK || unit_wheels_are_geared(p->unit, &k);
        lay_kinematics_free(&k);
        if (!geared) return fail_ungeared(p, (int)g);
        if (status == LAY_BAD_INPUT) return point_at(p, (int)g, where);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}

lay_status unit_check_whole(struct unit_parser *p) {
    lay_status status = check_planets(p);
    return status == LAY_OK ? check_gears(p) : status;
}
