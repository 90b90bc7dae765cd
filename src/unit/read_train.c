/* Sections of the gear train: [unit], [mesh ...], [gear ...]. */
#include "parser.h"

#include <stdlib.h>

static lay_status no_memory(struct unit_parser *p) {
    return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
}

lay_status unit_read_unit(struct unit_parser *p, const struct unit_section *s) {
    const struct unit_entry *name = unit_find_entry(s, "name"), *output = unit_find_entry(s, "output");
    const struct unit_entry *driven = unit_find_entry(s, "driven by");
    if (name && name->value.length > 0) {
        free(p->unit->name);
        p->unit->name = unit_slice_text(name->value);
        if (!p->unit->name) return no_memory(p);
    }
    lay_status status = unit_read_body(p, driven->value, true, &p->unit->reference);
    if (status != LAY_OK) return status;
    if (p->unit->reference == LAY_CASE)
        return UNIT_FAIL(p, driven->value, "the case does not turn: name the shaft that is driven");
    if (!output) return LAY_OK;
    status = unit_read_body(p, output->value, true, &p->unit->output);
    if (status == LAY_OK && p->unit->output == LAY_CASE)
        return UNIT_FAIL(p, output->value, "the case does not turn: name the shaft that leaves the transmission");
    return status;
}

static lay_status check_mesh(struct unit_parser *p, const struct unit_section *s, const lay_mesh *m) {
    struct unit_slice driven = unit_find_entry(s, "driven")->value;
    const struct unit_entry *carrier = unit_find_entry(s, "carrier"), *wheels = unit_find_entry(s, "wheels");
    if (m->driver.body == m->driven.body)
        return UNIT_FAIL(p, driven, "both wheels of the mesh are on '%s': two wheels of one body cannot mesh",
                         p->unit->bodies[m->driver.body].name);
    if (m->carrier != LAY_CASE && (m->carrier == m->driver.body || m->carrier == m->driven.body))
        return UNIT_FAIL(p, carrier->value, "the carrier is neither of the two wheels that mesh");
    if (m->internal && m->driver.teeth == m->driven.teeth)
        return UNIT_FAIL(p, driven, "an internal ring has more teeth than the wheel that runs in it, not the same");
    if (m->internal && m->wheels > 1 && !carrier)
        return UNIT_FAIL(p, wheels->value,
                         "planets need their carrier: add 'carrier = ' with the body that holds their "
                         "axes ('carrier = case' when they stand still)");
    return LAY_OK;
}

lay_status unit_read_mesh(struct unit_parser *p, const struct unit_section *s) {
    lay_unit *unit = p->unit;
    if (unit->mesh_count >= UNIT_MOST_MESHES)
        return UNIT_FAIL(p, s->head, "there are more than %d meshes: no transmission has so many", UNIT_MOST_MESHES);
    p->mesh_sections[unit->mesh_count] = s;
    lay_mesh *m = &unit->meshes[unit->mesh_count++];
    *m = (lay_mesh){.name = unit_slice_text(s->label), .carrier = LAY_CASE, .wheels = 1, .line = s->head.line};
    if (!m->name) return no_memory(p);
    const struct unit_entry *carrier = unit_find_entry(s, "carrier"), *internal = unit_find_entry(s, "internal");
    const struct unit_entry *wheels = unit_find_entry(s, "wheels");
    lay_status status = unit_read_wheel(p, unit_find_entry(s, "driver")->value, &m->driver);
    if (status == LAY_OK) status = unit_read_wheel(p, unit_find_entry(s, "driven")->value, &m->driven);
    if (status == LAY_OK && carrier) status = unit_read_body(p, carrier->value, true, &m->carrier);
    if (status == LAY_OK && internal) status = unit_read_flag(p, internal->value, &m->internal);
    if (status == LAY_OK && wheels) status = unit_read_count(p, wheels->value, "wheels in parallel", 1, 12, &m->wheels);
    return status == LAY_OK ? check_mesh(p, s, m) : status;
}

static lay_status read_lock(struct unit_parser *p, struct unit_slice value, lay_lock *out) {
    struct unit_slice rest = value, a = value, b = value;
    unit_slice_next(&rest, &a);
    if (!unit_slice_next(&rest, &b) || rest.at)
        return UNIT_FAIL(p, value, "a lock joins two bodies: write 'lock = third gear, mainshaft', one pair per line");
    lay_status status = unit_read_body(p, a, false, &out->a);
    if (status == LAY_OK) status = unit_read_body(p, b, false, &out->b);
    if (status == LAY_OK && out->a == out->b)
        return UNIT_FAIL(p, value, "'%s' is locked to itself: name two different bodies", p->unit->bodies[out->a].name);
    return status;
}

lay_status unit_read_gear(struct unit_parser *p, const struct unit_section *s) {
    lay_unit *unit = p->unit;
    if (unit->gear_count >= UNIT_MOST_GEARS)
        return UNIT_FAIL(p, s->head, "there are more than %d gears: no transmission has so many", UNIT_MOST_GEARS);
    if (s->entry_count > UNIT_MOST_LOCKS)
        return UNIT_FAIL(p, s->head, "there are more than %d locks in one gear", UNIT_MOST_LOCKS);
    p->gear_sections[unit->gear_count] = s;
    lay_gear *g = &unit->gears[unit->gear_count++];
    *g = (lay_gear){.name = unit_slice_text(s->label), .line = s->head.line};
    g->locks = lay_calloc(s->entry_count + 1, sizeof *g->locks);
    if (!g->name || !g->locks) return no_memory(p);
    for (size_t i = 0; i < s->entry_count; i++) { /* `lock` is the only key here */
        lay_status status = read_lock(p, s->entries[i].value, &g->locks[g->lock_count++]);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}
