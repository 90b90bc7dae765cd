/* From the pulses of a tach to turns of the reference shaft, as far as the unit file tells. */
#include <math.h>

#include "record.h"

static double order_of(const lay_unit *unit, const char *gear, int body) {
    lay_kinematics k = {0};
    int g = gear && *gear ? lay_unit_gear(unit, gear) : -1;
    if (g < 0 || lay_unit_solve(unit, g, &k, NULL) != LAY_OK) return 0;
    double order = fabs(k.speed[body].value);
    lay_kinematics_free(&k);
    return order;
}

lay_tach_options lay_record_tach(const lay_record_job *job, const char *gear, lay_text *warnings) {
    const lay_record_options *o = job->options;
    lay_tach_options tach = {.pulses_per_rev = o->pulses_per_rev > 0 ? o->pulses_per_rev : 1, .body_order = 1};
    if (!o->tach_on || o->tach_channel == 0) return tach;
    int body = job->unit ? lay_unit_body(job->unit, o->tach_on) : -1;
    double order = body >= 0 ? order_of(job->unit, gear, body) : 0;
    if (order > 0)
        tach.body_order = order;
    else
        lay_text_add(warnings, "rpm is shown of the %s itself, not of the reference shaft\n", o->tach_on);
    return tach;
}
