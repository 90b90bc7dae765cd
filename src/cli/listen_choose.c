/* What `layshaft listen` takes out of a run: the orders of a part, one order, or the band of a bearing. */
#include "listen.h"

#include <math.h>
#include <strings.h>

#define ORDER_LOW 0.01
#define ORDER_HIGH 10000.0
#define STANDS 2.0 /* significance */

static const lay_expected *part_named(const lay_listening *w, const char *name) {
    for (size_t i = 0; i < w->run.expected_count; i++)
        if (strcasecmp(w->run.expected[i].name, name) == 0) return &w->run.expected[i];
    return NULL;
}

static lay_status choose_bearing(const lay_listen_options *o, const lay_expected *bearing, lay_listening *w,
                                 lay_error *err) {
    if (o->width_given)
        return lay_fail(err, LAY_BAD_USAGE, "--width is for orders; '%s' is a bearing, of which a band is taken",
                        bearing->name);
    if (!bearing->turning)
        return lay_fail(err, LAY_BAD_INPUT, "'%s' does not turn in the gear of this run, so it cannot be heard",
                        bearing->name);
    if (!lay_run_ring_band(&w->run, bearing, &w->ring))
        return lay_fail(err, LAY_BAD_INPUT,
                        "blows of '%s' cannot be looked for in this run, so there is no band to take", bearing->name);
    w->alone.low_hz = w->ring.low_hz;
    w->alone.high_hz = w->ring.high_hz;
    w->result.name = bearing->name;
    return LAY_OK;
}

static lay_status choose_order(double order, lay_listening *w, lay_error *err) {
    if (!(order >= ORDER_LOW && order <= ORDER_HIGH))
        return lay_fail(err, LAY_BAD_USAGE, "an order must lie between %g and %g, not %g", ORDER_LOW, ORDER_HIGH,
                        order);
    lay_tone tone;
    lay_tone_at(&w->run, order, 0, &tone);
    double above = tone.valid && tone.significance > STANDS ? tone.above_floor_db : NAN;
    w->orders.items[0] = (lay_part_order){.order = order, .harmonic = 1, .body = -1, .above_floor_db = above};
    w->orders.count = 1;
    return LAY_OK;
}

static lay_status choose_part(const char *name, lay_listening *w, lay_error *err) {
    lay_status status = lay_run_part_orders(w->job.unit, &w->run, name, &w->orders, err);
    if (status == LAY_OK)
        w->result.name = w->orders.part ? w->orders.part->name : w->job.unit->bodies[w->orders.body].name;
    return status;
}

lay_status lay_listen_choose(const lay_listen_options *o, lay_listening *w, lay_error *err) {
    const char *name = o->part ? o->part : o->without;
    const lay_expected *part = name ? part_named(w, name) : NULL;
    double order = o->order;
    w->orders.body = -1;
    if (part && part->type == LAY_PART_BEARING) return choose_bearing(o, part, w, err);
    bool number = o->without && !part && lay_unit_body(w->job.unit, name) < 0 && lay_parse_number(name, &order);
    lay_status status = name && !number ? choose_part(name, w, err) : choose_order(order, w, err);
    for (size_t i = 0; i < w->orders.count; i++) w->values[i] = w->orders.items[i].order;
    w->alone.orders = w->values;
    w->alone.order_count = w->orders.count;
    w->alone.width = o->width_given ? o->width : lay_alone_width(&w->run, w->values, w->orders.count);
    return status;
}
