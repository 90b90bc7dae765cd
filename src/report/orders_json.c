/* `layshaft orders --json`. */
#include <layshaft/report.h>

#include <math.h>
#include <stdlib.h>

#include "orders.h"
#include "run_json.h"
#include "words.h"

static const char *type_name(lay_part_type type) {
    static const char *const names[] = {"mesh", "bearing", "engine", "axle", "rotor"};
    return (unsigned)type < sizeof names / sizeof names[0] ? names[type] : "unknown";
}

static void order_or_null(lay_json *j, const char *name, double order) {
    lay_json_number(j, name, order > 0.0 ? order : NAN, 6);
}

static void wheels(lay_json *j, const lay_unit *unit, const lay_expected *e) {
    lay_json_open_array(j, "wheels");
    for (int w = 0; w < 2; w++) {
        bool inside = e->type == LAY_PART_MESH || w == 0; /* of the axle only the pinion is a body of the unit */
        lay_json_open_object(j, NULL);
        lay_json_string(j, "body", inside ? lay_words_body(unit, e->wheel_body[w]) : NULL);
        lay_json_integer(j, "teeth", e->teeth[w]);
        lay_json_number(j, "order", e->wheel_order[w], 6);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
    lay_json_number(j, "hunting_order", e->hunting_order, 9);
    lay_json_integer(j, "assembly_phases", e->assembly_phases);
}

static void bearing(lay_json *j, const lay_expected *e) {
    order_or_null(j, "bpfo", e->bpfo);
    order_or_null(j, "bpfi", e->bpfi);
    order_or_null(j, "bsf2", e->bsf2);
    order_or_null(j, "ftf", e->ftf);
    lay_json_number(j, "inner_order", e->ring_order[0], 6);
    lay_json_number(j, "outer_order", e->ring_order[1], 6);
    lay_json_number(j, "tolerance", e->tolerance, 6);
}

static void part(lay_json *j, const lay_unit *unit, const lay_expected *e) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "part", e->name);
    lay_json_string(j, "type", type_name(e->type));
    lay_json_bool(j, "turning", e->turning);
    lay_json_bool(j, "loaded", e->loaded);
    lay_json_number(j, "order", e->order, 6);
    if (e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE) wheels(j, unit, e);
    if (e->type == LAY_PART_BEARING) bearing(j, e);
    if (e->type == LAY_PART_ENGINE) lay_json_number(j, "cycle_order", e->cycle_order, 6);
    if (e->type == LAY_PART_ROTOR) {
        lay_json_open_array(j, "orders");
        for (size_t i = 0; i < e->multiple_count; i++) lay_json_number(j, NULL, e->order * e->multiples[i], 6);
        lay_json_close_array(j);
    }
    lay_json_close_object(j);
}

static lay_status twins(lay_json *j, const lay_orders_gear *gear, double resolution, lay_error *err) {
    lay_orders_twin *list = NULL;
    size_t count = 0;
    lay_status status = lay_orders_twins(gear, resolution, &list, &count, err);
    lay_json_open_array(j, "not_separable");
    for (size_t i = 0; i < count; i++) {
        lay_json_open_object(j, NULL);
        lay_json_open_array(j, "parts");
        lay_json_string(j, NULL, gear->parts[list[i].a].name);
        lay_json_string(j, NULL, gear->parts[list[i].b].name);
        lay_json_close_array(j);
        lay_json_bool(j, "by_sidebands", list[i].by_sidebands);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
    free(list);
    return status;
}

static void bodies(lay_json *j, const lay_unit *unit, const lay_kinematics *k) {
    lay_json_open_array(j, "bodies");
    for (size_t i = 0; i < k->body_count; i++) {
        lay_json_open_object(j, NULL);
        lay_json_string(j, "body", lay_words_body(unit, (int)i));
        lay_json_number(j, "turns", k->free_body[i] ? NAN : k->speed[i].value, 9);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

static lay_status one_gear(lay_json *j, const lay_unit *unit, int index, double resolution, lay_error *err) {
    lay_orders_gear gear;
    lay_status status = lay_orders_gear_make(unit, index, &gear, err);
    if (status != LAY_OK) return status;
    lay_json_open_object(j, NULL);
    lay_json_string(j, "gear", unit->gears[index].name);
    lay_json_number(j, "ratio", gear.output_order > 0.0 ? gear.ratio : NAN, 6);
    lay_json_number(j, "output_order", gear.output_order, 6);
    bodies(j, unit, &gear.kinematics);
    lay_json_open_array(j, "parts");
    for (size_t i = 0; i < gear.count; i++) part(j, unit, &gear.parts[i]);
    lay_json_close_array(j);
    status = twins(j, &gear, resolution, err);
    lay_json_close_object(j);
    lay_orders_gear_free(&gear);
    return status;
}

lay_status lay_report_orders_json(const lay_unit *unit, int gear, double resolution, bool indented, lay_text *out,
                                  lay_error *err) {
    lay_json j = {.out = out, .indented = indented};
    lay_status status = LAY_OK;
    lay_json_open_answer(&j, unit);
    lay_json_string(&j, "reference", lay_words_body(unit, unit->reference));
    lay_json_open_array(&j, "gears");
    for (size_t g = 0; g < unit->gear_count && status == LAY_OK; g++)
        if (gear < 0 || (size_t)gear == g) status = one_gear(&j, unit, (int)g, resolution, err);
    lay_json_close_array(&j);
    lay_json_close_object(&j);
    if (status == LAY_OK && out->failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to list the orders");
    return status;
}
