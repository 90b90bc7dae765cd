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

#define LAY_PLAN_ORDERS 256
/* Orders by which the speed of a gear can be found, with the chance that each is heard; engine orders first.
 * orders[LAY_PLAN_ORDERS]; returns how many. */
size_t lay_plan_track_orders(const lay_unit *unit, const lay_kinematics *kinematics, const lay_expected *expected,
                             size_t count, lay_track_order *orders);

#endif
