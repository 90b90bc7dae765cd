/* One gear worked out for display. */
#ifndef LAYSHAFT_REPORT_ORDERS_H
#define LAYSHAFT_REPORT_ORDERS_H

#include <layshaft/unit.h>

typedef struct lay_orders_gear {
    lay_kinematics kinematics;
    lay_expected *parts;
    size_t count;
    double ratio, output_order; /* 0 when the output stands, NaN when the unit names none */
} lay_orders_gear;

/* Two parts that sound alike in a gear; indices into parts. */
typedef struct lay_orders_twin {
    size_t a, b;
    bool by_sidebands;
} lay_orders_twin;

lay_status lay_orders_gear_make(const lay_unit *unit, int gear, lay_orders_gear *out, lay_error *err);
void lay_orders_gear_free(lay_orders_gear *gear);
/* Every pair that sounds alike; caller frees *out with free(). */
lay_status lay_orders_twins(const lay_orders_gear *gear, double resolution, lay_orders_twin **out, size_t *count,
                            lay_error *err);
/* Resolution used when none is given. */
#define LAY_ORDERS_RESOLUTION (1.0 / 64.0)

#endif
