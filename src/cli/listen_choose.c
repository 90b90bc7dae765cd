/* What `layshaft listen` takes out of a run: a part, or one order. */
#include "listen.h"

#include <math.h>
#include <strings.h>

#define ORDER_LOW 0.01
#define ORDER_HIGH 10000.0
#define STANDS 2.0 /* significance */

static bool bearing(const lay_listening *w, const char *name) {
    for (size_t i = 0; i < w->run.expected_count; i++)
        if (strcasecmp(w->run.expected[i].name, name) == 0) return w->run.expected[i].type == LAY_PART_BEARING;
    return false;
}

static bool known(const lay_listening *w, const char *name) {
    for (size_t i = 0; i < w->run.expected_count; i++)
        if (strcasecmp(w->run.expected[i].name, name) == 0) return true;
    return lay_unit_body(w->job.unit, name) >= 0;
}

static lay_status choose_order(const lay_listen_options *o, double order, lay_listening *w, lay_error *err) {
    if (!(order >= ORDER_LOW && order <= ORDER_HIGH))
        return lay_fail(err, LAY_BAD_USAGE, "an order must lie between %g and %g, not %g", ORDER_LOW, ORDER_HIGH,
                        order);
    lay_tone tone;
    lay_tone_at(&w->run, order, 0, &tone);
    double above = tone.valid && tone.significance > STANDS ? tone.above_floor_db : NAN;
    w->choice = (lay_alone_choice){.orders = {.count = 1, .body = -1}};
    w->choice.orders.items[0] = (lay_part_order){.order = order, .harmonic = 1, .body = -1, .above_floor_db = above};
    lay_alone_take_orders(&w->run, o->width, &w->choice);
    return LAY_OK;
}

static lay_status choose_part(const lay_listen_options *o, const char *name, lay_listening *w, lay_error *err) {
    if (o->width_given && bearing(w, name))
        return lay_fail(err, LAY_BAD_USAGE, "--width is for orders; '%s' is a bearing, of which a band is taken", name);
    lay_status status = lay_alone_choose(w->job.unit, &w->run, name, &w->choice, err);
    if (status == LAY_OK && o->width_given) lay_alone_take_orders(&w->run, o->width, &w->choice);
    return status;
}

lay_status lay_listen_choose(const lay_listen_options *o, lay_listening *w, lay_error *err) {
    const char *name = o->part ? o->part : o->without;
    double order = o->order;
    bool number = o->without && !known(w, name) && lay_parse_number(name, &order);
    return name && !number ? choose_part(o, name, w, err) : choose_order(o, order, w, err);
}
