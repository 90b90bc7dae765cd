/* Sources outside the transmission: [engine], [axle], [other ...]. */
#include "parser.h"

lay_status unit_read_engine(struct unit_parser *p, const struct unit_section *s) {
    lay_engine *e = &p->unit->engine;
    const struct unit_entry *strokes = unit_find_entry(s, "strokes"), *with = unit_find_entry(s, "turns with");
    *e = (lay_engine){.present = true, .strokes = 4, .body = p->unit->reference};
    lay_status status = unit_read_count(p, unit_find_entry(s, "cylinders")->value, "cylinders", 1, 16, &e->cylinders);
    if (status == LAY_OK && strokes) status = unit_read_count(p, strokes->value, "strokes", 2, 4, &e->strokes);
    if (status == LAY_OK && e->strokes == 3) status = UNIT_FAIL(p, strokes->value, "strokes are 2 or 4");
    if (status == LAY_OK && with) status = unit_read_body(p, with->value, false, &e->body);
    return status;
}

/* Pinion and ring stand together; a unit whose final drive is one of its meshes leaves both out. */
static lay_status read_final_drive(struct unit_parser *p, const struct unit_section *s, lay_axle *a) {
    const struct unit_entry *pinion = unit_find_entry(s, "pinion"), *ring = unit_find_entry(s, "ring");
    if (!pinion && !ring && a->rolling_m > 0) return LAY_OK;
    if (!pinion || !ring)
        return UNIT_FAIL(p, s->head, "'%s' is missing in this section: add a line such as '%s'",
                         pinion ? "ring" : "pinion", pinion ? "ring = 41" : "pinion = 11");
    lay_status status =
        unit_read_count(p, pinion->value, "pinion teeth", UNIT_FEWEST_TEETH, UNIT_MOST_TEETH, &a->pinion);
    if (status == LAY_OK)
        status = unit_read_count(p, ring->value, "ring teeth", UNIT_FEWEST_TEETH, UNIT_MOST_TEETH, &a->ring);
    if (status == LAY_OK && a->ring < a->pinion)
        status =
            UNIT_FAIL(p, ring->value, "the axle's ring (%d teeth) is smaller than its pinion (%d): are they swapped?",
                      a->ring, a->pinion);
    a->present = status == LAY_OK;
    return status;
}

static lay_status read_rolling(struct unit_parser *p, const struct unit_section *s, lay_axle *a) {
    const struct unit_entry *tyre = unit_find_entry(s, "tyre"), *rolling = unit_find_entry(s, "rolling circumference");
    if (tyre && rolling)
        return UNIT_FAIL(p, tyre->key,
                         "'tyre' and 'rolling circumference' say the same thing: keep the one you are surer of");
    if (tyre) return unit_read_tyre(p, tyre->value, &a->rolling_m);
    return rolling ? unit_read_circumference(p, rolling->value, &a->rolling_m) : LAY_OK;
}

lay_status unit_read_axle(struct unit_parser *p, const struct unit_section *s) {
    lay_axle *a = &p->unit->axle;
    const struct unit_entry *with = unit_find_entry(s, "turns with");
    *a = (lay_axle){.body = p->unit->output};
    if (!with && a->body < 0)
        return UNIT_FAIL(p, s->head,
                         "say what the axle pinion turns with ('turns with = '), as [unit] names no output");
    lay_status status = read_rolling(p, s, a);
    if (status == LAY_OK) status = read_final_drive(p, s, a);
    if (status == LAY_OK && with) status = unit_read_body(p, with->value, false, &a->body);
    return status;
}

static lay_status read_orders(struct unit_parser *p, struct unit_slice value, lay_rotor *r) {
    struct unit_slice rest = value, field;
    size_t most = 1;
    for (size_t i = 0; i < value.length; i++) most += value.at[i] == ',';
    r->orders = lay_calloc(most, sizeof *r->orders);
    if (!r->orders) return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    while (unit_slice_next(&rest, &field)) {
        lay_status status = unit_read_real(p, field, "order", 0, 10000, &r->orders[r->order_count]);
        if (status != LAY_OK) return status;
        r->order_count++;
    }
    return LAY_OK;
}

lay_status unit_read_rotor(struct unit_parser *p, const struct unit_section *s) {
    lay_unit *unit = p->unit;
    if (unit->rotor_count >= UNIT_MOST_PARTS)
        return UNIT_FAIL(p, s->head, "there are more than %d other rotors", UNIT_MOST_PARTS);
    lay_rotor *r = &unit->rotors[unit->rotor_count++];
    *r = (lay_rotor){.name = unit_slice_text(s->label), .ratio = 1};
    if (!r->name) return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    const struct unit_entry *ratio = unit_find_entry(s, "ratio"), *orders = unit_find_entry(s, "orders");
    static const struct unit_slice once = {.at = "1", .length = 1};
    const struct unit_entry *with = unit_find_entry(s, "turns with");
    r->body = unit->reference;
    lay_status status = with ? unit_read_body(p, with->value, false, &r->body) : LAY_OK;
    if (status == LAY_OK && ratio) status = unit_read_real(p, ratio->value, "ratio", 0, 1000, &r->ratio);
    return status == LAY_OK ? read_orders(p, orders ? orders->value : once, r) : status;
}
