/* What has to be taken out of a run so that a part is heard: the orders of what has teeth or turns, of a bearing the
 * band in which its blows ring. */
#include <layshaft/source.h>

#include <strings.h>

static const lay_expected *expected(const lay_run_evidence *run, const char *name) {
    for (size_t i = 0; i < run->expected_count; i++)
        if (strcasecmp(run->expected[i].name, name) == 0) return &run->expected[i];
    return NULL;
}

static lay_status choose_band(const lay_run_evidence *run, const lay_expected *bearing, lay_alone_choice *out,
                              lay_error *err) {
    if (!bearing->turning)
        return lay_fail(err, LAY_BAD_INPUT, "'%s' does not turn in the gear of this run, so it cannot be heard",
                        bearing->name);
    if (!lay_run_ring_band(run, bearing, &out->ring))
        return lay_fail(err, LAY_BAD_INPUT,
                        "blows of '%s' cannot be looked for in this run, so there is no band to take", bearing->name);
    out->options.low_hz = out->ring.low_hz;
    out->options.high_hz = out->ring.high_hz;
    out->name = bearing->name;
    return LAY_OK;
}

lay_status lay_alone_choose(const lay_unit *unit, const lay_run_evidence *run, const char *name, lay_alone_choice *out,
                            lay_error *err) {
    const lay_expected *part = expected(run, name);
    *out = (lay_alone_choice){.orders = {.body = -1}};
    if (part && part->type == LAY_PART_BEARING) return choose_band(run, part, out, err);
    lay_status status = lay_run_part_orders(unit, run, name, &out->orders, err);
    if (status != LAY_OK) return status;
    out->name = out->orders.part ? out->orders.part->name : unit->bodies[out->orders.body].name;
    lay_alone_take_orders(run, 0, out);
    return LAY_OK;
}

void lay_alone_take_orders(const lay_run_evidence *run, double width, lay_alone_choice *choice) {
    for (size_t i = 0; i < choice->orders.count; i++) choice->values[i] = choice->orders.items[i].order;
    choice->options.orders = choice->values;
    choice->options.order_count = choice->orders.count;
    choice->options.width = width > 0 ? width : lay_alone_width(run, choice->values, choice->orders.count);
}
