/* The gear train as equations. Private to the unit stage. */
#ifndef LAYSHAFT_UNIT_TRAIN_H
#define LAYSHAFT_UNIT_TRAIN_H

#include <layshaft/unit.h>

#include "linear.h"

/* Coefficients of one mesh over the three bodies it joins: a w(driver) + b w(driven) + c w(carrier) = 0. */
struct unit_mesh_row {
    int64_t driver, driven, carrier;
};
struct unit_mesh_row unit_mesh_coefficients(const lay_mesh *mesh);

/* Where a gear that cannot be solved went wrong: index of a lock or of a mesh, -1 when it is neither. */
struct unit_conflict {
    int lock, mesh;
};
/* lay_unit_solve that also tells the place. */
lay_status unit_solve_gear(const lay_unit *unit, int gear, lay_kinematics *out, struct unit_conflict *where,
                           lay_error *err);
/* True for the names of neutral: the only gear that may leave the output undriven. */
bool unit_is_neutral(const lay_gear *gear);

/* Fill loaded and carries of a solved gear from the balance of torques. */
lay_status unit_find_loads(const lay_unit *unit, lay_kinematics *k, lay_error *err);

#endif
