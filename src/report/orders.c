#include "orders.h"

#include <math.h>
#include <stdlib.h>

lay_status lay_orders_gear_make(const lay_unit *unit, int gear, lay_orders_gear *out, lay_error *err) {
    *out = (lay_orders_gear){.ratio = NAN, .output_order = NAN};
    lay_status status = lay_unit_solve(unit, gear, &out->kinematics, err);
    if (status == LAY_OK) status = lay_unit_expect(unit, &out->kinematics, &out->parts, &out->count, err);
    if (status != LAY_OK) {
        lay_orders_gear_free(out);
        return status;
    }
    if (unit->output >= 0) {
        out->ratio = lay_unit_ratio(unit, &out->kinematics);
        out->output_order = fabs(out->kinematics.speed[unit->output].value);
    }
    return LAY_OK;
}

void lay_orders_gear_free(lay_orders_gear *gear) {
    if (gear == NULL) return;
    lay_kinematics_free(&gear->kinematics);
    free(gear->parts);
    *gear = (lay_orders_gear){0};
}

lay_status lay_orders_twins(const lay_orders_gear *gear, double resolution, lay_orders_twin **out, size_t *count,
                            lay_error *err) {
    lay_orders_twin *twins = NULL;
    size_t capacity = 0;
    *out = NULL;
    *count = 0;
    if (!(resolution > 0.0)) resolution = LAY_ORDERS_RESOLUTION;
    for (size_t a = 0; a < gear->count; a++) {
        for (size_t b = a + 1; b < gear->count; b++) {
            bool by_sidebands = false;
            if (!lay_expected_same(&gear->parts[a], &gear->parts[b], resolution, &by_sidebands)) continue;
            lay_status status = lay_grow((void **)&twins, &capacity, *count, sizeof *twins, err);
            if (status != LAY_OK) {
                free(twins);
                *count = 0;
                return status;
            }
            twins[(*count)++] = (lay_orders_twin){a, b, by_sidebands};
        }
    }
    *out = twins;
    return LAY_OK;
}
