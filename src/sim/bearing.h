/* How a bearing really turns: what the unit file cannot know. */
#ifndef LAYSHAFT_SIM_BEARING_H
#define LAYSHAFT_SIM_BEARING_H

#include "scene.h"

/* Orders per turn of the reference in one run. */
typedef struct lay_sim_bearing_orders {
    double outer, inner, element, cage; /* passages over a defect of the outer and inner ring, strikes of a defect of an
                                         * element (twice per spin), turns of the cage; 0: unknown or standing */
} lay_sim_bearing_orders;

/* False when the rings do not turn against each other. The true geometry lies behind the 0.4 n rule of thumb where the
 * file holds no more; the cage slips by up to 1.5 %, the same in all runs of the job but for 0.2 % with the load. */
bool lay_sim_bearing_solve(const lay_sim_scene *scene, const lay_sim_run *run, int index, lay_sim_bearing_orders *out);

/* The one of a fault's kind; `orders` or the predicted ones of a part. */
double lay_sim_bearing_order(const lay_sim_bearing_orders *orders, lay_fault_kind kind);
double lay_sim_bearing_predicted(const lay_expected *part, lay_fault_kind kind);
/* Order at which a defect of this kind passes the load zone: the forces of the meshes stand still in the case, also
 * where both rings turn. 0: it stays where it is in the zone. */
double lay_sim_bearing_zone(const lay_expected *part, double cage_order, lay_fault_kind kind);

#endif
