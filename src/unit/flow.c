/* Which meshes carry the torque: the balance of torques on every body, the transpose of the speed equations.
 *
 * Each mesh, lock and the case acts on the bodies with its own coefficients times one unknown torque; torque 1
 * enters at the reference and an unknown one leaves at the output. By virtual work that one is
 * -1 / (speed of the output). Trains with parallel paths (two countershafts) have many balances: the one of
 * least squares is taken, which shares evenly and puts no torque where none is needed. */
#include "train.h"

#include <math.h>
#include <stdlib.h>

#define TORQUE_TOLERANCE 1e-9 /* of the torque that enters */

struct flow {
    const lay_unit *unit;
    const lay_gear *gear;
    struct unit_linear l;
    size_t unknowns; /* meshes, locks, case, output */
    double *torque;  /* [unknowns] */
};

static lay_status set_balance(struct flow *f, lay_error *err) {
    const lay_unit *u = f->unit;
    size_t locks = u->mesh_count, reaction = locks + f->gear->lock_count;
    f->unknowns = reaction + 2;
    lay_status status = unit_linear_create(&f->l, u->body_count, f->unknowns, err);
    if (status != LAY_OK) return status;
    for (size_t m = 0; m < u->mesh_count; m++) {
        struct unit_mesh_row row = unit_mesh_coefficients(&u->meshes[m]);
        unit_linear_add(&f->l, (size_t)u->meshes[m].driver.body, m, row.driver);
        unit_linear_add(&f->l, (size_t)u->meshes[m].driven.body, m, row.driven);
        unit_linear_add(&f->l, (size_t)u->meshes[m].carrier, m, row.carrier);
    }
    for (size_t i = 0; i < f->gear->lock_count; i++) {
        unit_linear_add(&f->l, (size_t)f->gear->locks[i].a, locks + i, 1);
        unit_linear_add(&f->l, (size_t)f->gear->locks[i].b, locks + i, -1);
    }
    unit_linear_add(&f->l, LAY_CASE, reaction, 1);
    unit_linear_add(&f->l, (size_t)u->output, reaction + 1, 1);
    unit_linear_add(&f->l, (size_t)u->reference, f->unknowns, -1);
    unit_linear_reduce(&f->l, true);
    return LAY_OK;
}

static double dot(const double *a, const double *b, size_t n) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) sum += a[i] * b[i];
    return sum;
}

static void subtract(double *a, const double *b, double factor, size_t n) {
    for (size_t i = 0; i < n; i++) a[i] -= factor * b[i];
}

/* Directions in which torque may circulate without changing input and output, made orthonormal. */
static size_t circulation(const struct flow *f, double *basis) {
    size_t n = f->unknowns, count = 0;
    for (size_t c = 0; c < n; c++) {
        if (f->l.pivot[c] != UNIT_NO_PIVOT) continue;
        double *v = basis + count * n;
        for (size_t i = 0; i < n; i++) v[i] = unit_linear_slope(&f->l, i, c);
        for (int round = 0; round < 2; round++) /* twice is enough (Kahan, in Parlett 1980; value from memory of it) */
            for (size_t k = 0; k < count; k++) subtract(v, basis + k * n, dot(v, basis + k * n, n), n);
        double length = sqrt(dot(v, v, n));
        for (size_t i = 0; i < n; i++) v[i] /= length; /* > 0: each v alone has its free unknown */
        count++;
    }
    return count;
}

static lay_status least_torques(struct flow *f, lay_error *err) {
    size_t n = f->unknowns, free_count = n - f->l.rank;
    double *basis = lay_calloc(free_count * n + 1, sizeof *basis);
    f->torque = lay_calloc(n, sizeof *f->torque);
    if (!basis || !f->torque) {
        free(basis);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the loaded meshes");
    }
    for (size_t i = 0; i < n; i++) f->torque[i] = unit_linear_value(&f->l, i).value;
    size_t count = circulation(f, basis);
    for (size_t k = 0; k < count; k++) subtract(f->torque, basis + k * n, dot(f->torque, basis + k * n, n), n);
    free(basis);
    return LAY_OK;
}

static void mark_loads(const struct flow *f, lay_kinematics *k) {
    const lay_unit *u = f->unit;
    for (size_t m = 0; m < u->mesh_count; m++) {
        if (!(fabs(f->torque[m]) > TORQUE_TOLERANCE)) continue;
        k->loaded[m] = true;
        k->carries[u->meshes[m].driver.body] = true;
        k->carries[u->meshes[m].driven.body] = true;
        k->carries[u->meshes[m].carrier] = true;
    }
    for (size_t i = 0; i < f->gear->lock_count; i++) {
        if (!(fabs(f->torque[u->mesh_count + i]) > TORQUE_TOLERANCE)) continue;
        k->carries[f->gear->locks[i].a] = true;
        k->carries[f->gear->locks[i].b] = true;
    }
    k->carries[u->reference] = true;
    k->carries[u->output] = true;
}

/* A unit that names no output is a test bench: everything that turns is taken as loaded, but no mesh in neutral. */
static void load_all(const lay_unit *u, lay_kinematics *k) {
    bool neutral = unit_is_neutral(&u->gears[k->gear]);
    for (size_t m = 0; m < u->mesh_count; m++) k->loaded[m] = !neutral && k->mesh_order[m] > 0;
    if (neutral && u->mesh_count > 0) return;
    for (size_t b = 1; b < u->body_count; b++) k->carries[b] = k->speed[b].value != 0;
}

lay_status unit_find_loads(const lay_unit *unit, lay_kinematics *k, lay_error *err) {
    const lay_gear *gear = &unit->gears[k->gear];
    if (unit->output < 0) {
        load_all(unit, k);
        return LAY_OK;
    }
    if (unit_is_neutral(gear) || k->speed[unit->output].value == 0) return LAY_OK;
    struct flow f = {.unit = unit, .gear = gear};
    lay_status status = set_balance(&f, err);
    if (status == LAY_OK) status = least_torques(&f, err);
    if (status == LAY_OK) mark_loads(&f, k);
    unit_linear_free(&f.l);
    free(f.torque);
    return status;
}
