/* How finely and how far one run is analysed, and which lines its speed may be found on. */
#ifndef LAYSHAFT_SOURCE_PLAN_H
#define LAYSHAFT_SOURCE_PLAN_H

#include <layshaft/source.h>

/* Highest order worth looking at: four harmonics of the highest mesh or rotor line with its sidebands, within 150..400
 * (ghost orders lie high). */
double lay_plan_max_order(const lay_expected *expected, size_t count);

/* Order resolution that separates the parts' base lines, a power of two between 1/128 and 1/8 that leaves at least
 * eight segments in `revolutions`. */
double lay_plan_resolution(const lay_expected *expected, size_t count, double revolutions);

/* Orders and prior weights of the lines a stated speed is refined on; arrays of LAY_PLAN_ORDERS, returns how many. */
#define LAY_PLAN_ORDERS 64
size_t lay_plan_speed_orders(const lay_kinematics *k, const lay_expected *expected, size_t count, double *orders,
                             double *weights);

#endif
