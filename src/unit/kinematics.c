/* Speeds of all bodies in one gear from one linear system.
 *
 * A mesh of z1 and z2 teeth on a carrier c holds the relative speeds together (Willis 1841):
 *     z1 (w1 - wc) = -z2 (w2 - wc)      external,      z1 (w1 - wc) = z2 (w2 - wc)     one wheel internal.
 * The case gives w = 0, the reference w = 1, a lock wa = wb.
 * Example: sun 30, ring 66 held, carrier free: wc = 30 / (30 + 66) of the sun. */
#include "train.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

struct unit_mesh_row unit_mesh_coefficients(const lay_mesh *mesh) {
    int64_t g = unit_gcd(mesh->driver.teeth, mesh->driven.teeth);
    int64_t z1 = mesh->driver.teeth / g, z2 = (mesh->internal ? -mesh->driven.teeth : mesh->driven.teeth) / g;
    return (struct unit_mesh_row){.driver = z1, .driven = z2, .carrier = -(z1 + z2)};
}

bool unit_is_neutral(const lay_gear *gear) {
    return strcasecmp(gear->name, "N") == 0 || strcasecmp(gear->name, "neutral") == 0;
}

/* Equations: case, reference, the first `meshes` meshes, and those locks that `use` holds (NULL: all). */
static lay_status solve_speeds(const lay_unit *u, const lay_gear *g, size_t meshes, const bool *use,
                               struct unit_linear *l, lay_error *err) {
    lay_status status = unit_linear_create(l, 2 + meshes + g->lock_count, u->body_count, err);
    if (status != LAY_OK) return status;
    unit_linear_add(l, 0, LAY_CASE, 1);
    unit_linear_add(l, 1, (size_t)u->reference, 1);
    unit_linear_add(l, 1, u->body_count, 1);
    for (size_t m = 0; m < meshes; m++) {
        struct unit_mesh_row row = unit_mesh_coefficients(&u->meshes[m]);
        unit_linear_add(l, 2 + m, (size_t)u->meshes[m].driver.body, row.driver);
        unit_linear_add(l, 2 + m, (size_t)u->meshes[m].driven.body, row.driven);
        unit_linear_add(l, 2 + m, (size_t)u->meshes[m].carrier, row.carrier);
    }
    for (size_t i = 0; i < g->lock_count; i++) {
        if (use && !use[i]) continue;
        unit_linear_add(l, 2 + meshes + i, (size_t)g->locks[i].a, 1);
        unit_linear_add(l, 2 + meshes + i, (size_t)g->locks[i].b, -1);
    }
    unit_linear_reduce(l, true);
    return LAY_OK;
}

/* Does the train turn with these equations? Without memory it counts as turning: the caller has failed by then. */
static bool turns(const lay_unit *u, const lay_gear *g, size_t meshes, const bool *use) {
    struct unit_linear l;
    if (solve_speeds(u, g, meshes, use, &l, NULL) != LAY_OK) return true;
    bool consistent = unit_linear_consistent(&l);
    unit_linear_free(&l);
    return consistent;
}

/* "'third gear' with 'mainshaft' and 'input shaft' with 'mainshaft'" */
static void name_locks(const lay_unit *u, const lay_gear *g, const bool *use, lay_text *out) {
    size_t named = 0;
    for (size_t i = 0; i < g->lock_count; i++)
        if (use[i])
            lay_text_add(out, "%s'%s' with '%s'", named++ ? " and " : "", u->bodies[g->locks[i].a].name,
                         u->bodies[g->locks[i].b].name);
}

static lay_status locked_up(const lay_unit *u, const lay_gear *g, const bool *use, lay_error *err) {
    lay_text locks = {0};
    name_locks(u, g, use, &locks);
    size_t count = 0;
    for (size_t i = 0; i < g->lock_count; i++) count += use[i];
    lay_status status = lay_fail_at(err, LAY_BAD_INPUT, u->path, g->line, 1, 1, "",
                                    count > 1 ? "gear %s is locked up: %.400s cannot hold together; take one of the "
                                                "locks out"
                                              : "gear %s is locked up: %.400s cannot hold, as the two turn at "
                                                "different speeds",
                                    g->name, locks.failed || !locks.text ? "its locks" : locks.text);
    lay_text_free(&locks);
    return status;
}

static lay_status meshes_contradict(const lay_unit *u, const lay_gear *g, struct unit_conflict *where, lay_error *err) {
    bool none[1] = {false};
    lay_gear open = {.name = g->name, .locks = NULL, .lock_count = 0};
    size_t m = 1;
    while (m < u->mesh_count && turns(u, &open, m, none)) m++;
    where->mesh = (int)m - 1;
    if (u->mesh_count == 0) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to solve the gear train");
    return lay_fail_at(err, LAY_BAD_INPUT, u->path, u->meshes[m - 1].line, 1, 1, "",
                       "the meshes lock each other up in every gear: '%s' contradicts the meshes before it, check its "
                       "bodies and teeth",
                       u->meshes[m - 1].name);
}

/* The smallest set of locks that cannot hold together: add until it locks, then drop what is not needed. */
static lay_status find_conflict(const lay_unit *u, const lay_gear *g, struct unit_conflict *where, lay_error *err) {
    bool *use = lay_calloc(g->lock_count + 1, sizeof *use);
    if (!use) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to solve the gear train");
    lay_status status;
    if (!turns(u, g, u->mesh_count, use)) {
        status = meshes_contradict(u, g, where, err);
    } else {
        size_t last = 0;
        while (last < g->lock_count) {
            use[last] = true;
            if (!turns(u, g, u->mesh_count, use)) break;
            last++;
        }
        for (size_t i = 0; i < last && i < g->lock_count; i++) {
            use[i] = false;
            if (turns(u, g, u->mesh_count, use)) use[i] = true;
        }
        where->lock = last < g->lock_count ? (int)last : -1;
        status = locked_up(u, g, use, err);
    }
    free(use);
    return status;
}

static lay_status make_room(const lay_unit *u, int gear, lay_kinematics *out, lay_error *err) {
    *out = (lay_kinematics){.gear = gear, .body_count = u->body_count, .mesh_count = u->mesh_count};
    out->speed = lay_calloc(u->body_count, sizeof *out->speed);
    out->free_body = lay_calloc(u->body_count, sizeof *out->free_body);
    out->carries = lay_calloc(u->body_count, sizeof *out->carries);
    out->loaded = lay_calloc(u->mesh_count + 1, sizeof *out->loaded);
    out->mesh_order = lay_calloc(u->mesh_count + 1, sizeof *out->mesh_order);
    if (out->speed && out->free_body && out->carries && out->loaded && out->mesh_order) return LAY_OK;
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to solve the gear train");
}

/* z1 |w1 - wc|, in whole numbers where they reach so that a standing mesh is exactly 0. */
static double mesh_order(const lay_mesh *m, const lay_kinematics *k) {
    if (k->free_body[m->driver.body] || k->free_body[m->driven.body] || k->free_body[m->carrier]) return 0;
    lay_fraction w = k->speed[m->driver.body], c = k->speed[m->carrier];
    struct unit_ratio difference, one = {1, 1};
    if (w.exact && c.exact &&
        unit_ratio_minus_product((struct unit_ratio){w.num, w.den}, (struct unit_ratio){c.num, c.den}, one,
                                 &difference))
        return m->driver.teeth * fabs((double)difference.num / (double)difference.den);
    double order = m->driver.teeth * fabs(w.value - c.value);
    return order > 1e-9 ? order : 0;
}

static void take_speeds(const lay_unit *u, const struct unit_linear *l, lay_kinematics *out) {
    for (size_t b = 0; b < u->body_count; b++) {
        out->free_body[b] = !unit_linear_determined(l, b);
        out->speed[b] = out->free_body[b] ? (lay_fraction){.den = 1, .exact = true} : unit_linear_value(l, b);
    }
    for (size_t m = 0; m < u->mesh_count; m++) out->mesh_order[m] = mesh_order(&u->meshes[m], out);
}

static lay_status check_output(const lay_unit *u, const lay_gear *g, const lay_kinematics *k, lay_error *err) {
    if (u->output < 0 || !k->free_body[u->output] || unit_is_neutral(g)) return LAY_OK;
    return lay_fail_at(err, LAY_BAD_INPUT, u->path, g->line, 1, 1, "",
                       "gear %s leaves the output '%s' undriven: a lock is missing, or a mesh that leads to it",
                       g->name, u->bodies[u->output].name);
}

lay_status unit_solve_gear(const lay_unit *unit, int gear, lay_kinematics *out, struct unit_conflict *where,
                           lay_error *err) {
    struct unit_linear l = {0};
    *where = (struct unit_conflict){.lock = -1, .mesh = -1};
    *out = (lay_kinematics){0};
    if (gear < 0 || (size_t)gear >= unit->gear_count)
        return lay_fail_file(err, LAY_BAD_INPUT, unit->path, "there is no gear number %d in this unit", gear + 1);
    const lay_gear *g = &unit->gears[gear];
    lay_status status = make_room(unit, gear, out, err);
    if (status == LAY_OK) status = solve_speeds(unit, g, unit->mesh_count, NULL, &l, err);
    if (status != LAY_OK) goto done;
    if (!unit_linear_consistent(&l)) {
        status = find_conflict(unit, g, where, err);
        goto done;
    }
    take_speeds(unit, &l, out);
    status = check_output(unit, g, out, err);
    if (status == LAY_OK) status = unit_find_loads(unit, out, err);
done:
    unit_linear_free(&l);
    if (status != LAY_OK) lay_kinematics_free(out);
    return status;
}

lay_status lay_unit_solve(const lay_unit *unit, int gear, lay_kinematics *out, lay_error *err) {
    struct unit_conflict where;
    return unit_solve_gear(unit, gear, out, &where, err);
}

void lay_kinematics_free(lay_kinematics *k) {
    if (!k) return;
    free(k->speed);
    free(k->free_body);
    free(k->carries);
    free(k->loaded);
    free(k->mesh_order);
    *k = (lay_kinematics){0};
}

double lay_unit_ratio(const lay_unit *unit, const lay_kinematics *k) {
    if (unit->output < 0 || k->free_body[unit->output]) return 0;
    lay_fraction w = k->speed[unit->output];
    if (w.value == 0) return 0;
    return w.exact ? (double)w.den / (double)w.num : 1 / w.value;
}
