#include "neighbours.h"

#include <math.h>

#define WIDEST 0.25 /* orders */
#define SHARE 0.5   /* of the slowest body's turn: its sidebands lie one turn apart */

double lay_run_order_width(const lay_run_evidence *run) {
    double least = INFINITY;
    for (size_t b = 1; b < run->kinematics.body_count; b++) {
        double turns = fabs(run->kinematics.speed[b].value);
        if (!run->kinematics.free_body[b] && turns > 1e-6) least = fmin(least, turns);
    }
    return fmin(WIDEST, fmax(LAY_WIDTH_LEAST, SHARE * least));
}
