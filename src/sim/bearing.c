#include "bearing.h"

#include "trains.h"

#include <math.h>

/* Element over pitch diameter. Where only the count is known it is drawn about 0.2, for which the rule of thumb is
 * right: published bearings lie between 0.12 and 0.21 (references: bearing data of open recordings). */
static double true_gamma(lay_random *random, const lay_bearing *b) {
    double unknown = lay_random_between(random, 0.14, 0.26);
    if (b->basis == LAY_BEARING_COUNT_ONLY) return unknown;
    return b->bpfo > 0 && b->bpfi > 0 ? (b->bpfi - b->bpfo) / (b->bpfi + b->bpfo) : 1.0 - 2.0 * b->ftf;
}

/* Slip and the working contact angle move the cage against the outer ring by -0.5 to 1.5 % (1 to 2 %: Randall and
 * Antoni, MSSP 25 (2011) 485, from memory of the work). */
static double slip_of(lay_random *random, const lay_sim_scene *scene, const lay_sim_run *run) {
    double slip = lay_random_between(random, -0.005, 0.015);
    lay_random day = lay_sim_stream(&scene->options, LAY_SIM_STREAM_NOISE + (uint64_t)(run - scene->runs));
    lay_random_seed(&day, lay_random_bits(random) ^ lay_random_bits(&day));
    return slip + lay_random_between(&day, -0.002, 0.002);
}

/* With the cage at fc: passages over the outer ring N |fc - fo|, over the inner ring N |fi - fc|; both add up to N
 * |fi - fo| whatever the slip. */
bool lay_sim_bearing_solve(const lay_sim_scene *scene, const lay_sim_run *run, int index, lay_sim_bearing_orders *out) {
    const lay_bearing *b = &scene->unit->bearings[index];
    const lay_expected *e = lay_sim_run_part(run, LAY_PART_BEARING, index);
    *out = (lay_sim_bearing_orders){0};
    if (!e || !e->turning) return false;
    lay_random random = lay_sim_source(scene, LAY_SIM_SOURCE_BEARING + (uint64_t)index);
    double gamma = true_gamma(&random, b), slip = slip_of(&random, scene, run);
    double fi = run->kinematics.speed[b->inner].value, fo = run->kinematics.speed[b->outer].value;
    double count = b->elements > 0 ? b->elements : b->bpfo + b->bpfi;
    double share = 0.5 * (1.0 - gamma) * (1.0 - slip); /* of the way from the outer ring's speed to the inner's */
    out->outer = count * share * fabs(fi - fo);
    out->inner = count * (1.0 - share) * fabs(fi - fo);
    out->cage = fabs(fo + share * (fi - fo));
    out->element = e->bsf2 * (1.0 - slip);
    return true;
}

double lay_sim_bearing_order(const lay_sim_bearing_orders *orders, lay_fault_kind kind) {
    switch (kind) {
    case LAY_FAULT_INNER:
        return orders->inner;
    case LAY_FAULT_ELEMENT:
        return orders->element;
    case LAY_FAULT_CAGE:
        return orders->cage;
    default:
        return orders->outer;
    }
}

double lay_sim_bearing_predicted(const lay_expected *e, lay_fault_kind kind) {
    lay_sim_bearing_orders orders = {e->bpfo, e->bpfi, e->bsf2, e->ftf};
    return lay_sim_bearing_order(&orders, kind);
}

double lay_sim_bearing_zone(const lay_expected *e, double cage_order, lay_fault_kind kind) {
    switch (kind) {
    case LAY_FAULT_INNER:
        return e->ring_order[0];
    case LAY_FAULT_OUTER:
        return e->ring_order[1];
    case LAY_FAULT_ELEMENT:
        return cage_order;
    default:
        return 0;
    }
}
