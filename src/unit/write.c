/* lay_unit -> unit file. */
#include <layshaft/unit.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The shortest decimal that reads back as the same double, with a point whatever the locale. */
static void add_number(lay_text *out, double value) {
    char text[40];
    for (int digits = 6; digits <= 17; digits++) {
        snprintf(text, sizeof text, "%.*g", digits, value);
        if (strtod(text, NULL) == value) break;
    }
    for (char *c = text; *c; c++)
        if (*c == ',') *c = '.';
    lay_text_add(out, "%s", text);
}

static void add_value(lay_text *out, const char *key, double value, const char *unit) {
    lay_text_add(out, "%s = ", key);
    add_number(out, value);
    lay_text_add(out, "%s\n", unit);
}

static void write_mesh(const lay_unit *u, const lay_mesh *m, lay_text *out) {
    lay_text_add(out, "\n[mesh %s]\ndriver = %s, %d\ndriven = %s, %d\n", m->name, u->bodies[m->driver.body].name,
                 m->driver.teeth, u->bodies[m->driven.body].name, m->driven.teeth);
    /* planets of a star gear need their carrier named although it is the case */
    if (m->carrier != LAY_CASE || (m->internal && m->wheels > 1))
        lay_text_add(out, "carrier = %s\n", u->bodies[m->carrier].name);
    if (m->internal) lay_text_add(out, "internal = yes\n");
    if (m->wheels > 1) lay_text_add(out, "wheels = %d\n", m->wheels);
}

static void write_gear(const lay_unit *u, const lay_gear *g, lay_text *out) {
    lay_text_add(out, "\n[gear %s]\n", g->name);
    for (size_t i = 0; i < g->lock_count; i++)
        lay_text_add(out, "lock = %s, %s\n", u->bodies[g->locks[i].a].name, u->bodies[g->locks[i].b].name);
}

static void write_multiples(const lay_bearing *b, lay_text *out) {
    if (b->bpfo > 0) add_value(out, "BPFO", b->bpfo, "");
    if (b->bpfi > 0) add_value(out, "BPFI", b->bpfi, "");
    if (b->bsf > 0) add_value(out, "BSF", b->bsf, "");
    if (b->ftf > 0) add_value(out, "FTF", b->ftf, "");
}

static void write_bearing(const lay_unit *u, const lay_bearing *b, lay_text *out) {
    lay_text_add(out, "\n[bearing %s]\ninner = %s\nouter = %s\n", b->name, u->bodies[b->inner].name,
                 u->bodies[b->outer].name);
    if (b->elements > 0) lay_text_add(out, "rolling elements = %d\n", b->elements);
    if (b->basis == LAY_BEARING_MULTIPLES) write_multiples(b, out);
    if (b->basis != LAY_BEARING_GEOMETRY) return;
    add_value(out, "element diameter", b->element_mm, " mm");
    add_value(out, "pitch diameter", b->pitch_mm, " mm");
    add_value(out, "contact angle", b->contact_deg, " deg");
}

static void write_axle(const lay_unit *u, const lay_axle *a, lay_text *out) {
    lay_text_add(out, "\n[axle]\n");
    if (a->present) lay_text_add(out, "pinion = %d\nring = %d\n", a->pinion, a->ring);
    lay_text_add(out, "turns with = %s\n", u->bodies[a->body].name);
    if (a->rolling_m > 0) add_value(out, "rolling circumference", a->rolling_m, " m");
}

static void write_rotor(const lay_unit *u, const lay_rotor *r, lay_text *out) {
    lay_text_add(out, "\n[other %s]\nturns with = %s\n", r->name, u->bodies[r->body].name);
    add_value(out, "ratio", r->ratio, "");
    lay_text_add(out, "orders = ");
    for (size_t i = 0; i < r->order_count; i++) {
        lay_text_add(out, "%s", i ? ", " : "");
        add_number(out, r->orders[i]);
    }
    lay_text_add(out, "\n");
}

void lay_unit_write(const lay_unit *unit, lay_text *out) {
    lay_text_add(out, "[unit]\nname = %s\ndriven by = %s\n", unit->name, unit->bodies[unit->reference].name);
    if (unit->output >= 0) lay_text_add(out, "output = %s\n", unit->bodies[unit->output].name);
    for (size_t i = 0; i < unit->mesh_count; i++) write_mesh(unit, &unit->meshes[i], out);
    for (size_t i = 0; i < unit->gear_count; i++) write_gear(unit, &unit->gears[i], out);
    for (size_t i = 0; i < unit->bearing_count; i++) write_bearing(unit, &unit->bearings[i], out);
    if (unit->engine.present)
        lay_text_add(out, "\n[engine]\ncylinders = %d\nstrokes = %d\nturns with = %s\n", unit->engine.cylinders,
                     unit->engine.strokes, unit->bodies[unit->engine.body].name);
    if (unit->axle.present || unit->axle.rolling_m > 0) write_axle(unit, &unit->axle, out);
    for (size_t i = 0; i < unit->rotor_count; i++) write_rotor(unit, &unit->rotors[i], out);
}
