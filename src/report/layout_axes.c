/* Which bodies of a unit turn about the same line. The unit file does not say so; it follows from what can be locked
 * together, from bearings between two bodies and from the axes of epicyclic sets. */
#include "layout.h"

int lay_root(int *root, int i) {
    while (root[i] != i) {
        root[i] = root[root[i]];
        i = root[i];
    }
    return i;
}

void lay_join(int *root, int a, int b) {
    a = lay_root(root, a);
    b = lay_root(root, b);
    root[a > b ? a : b] = a > b ? b : a;
}

static int carrier_meshes(const lay_unit *unit, int body, int carrier) {
    int n = 0;
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        n += m->carrier == carrier && (m->driver.body == body || m->driven.body == body);
    }
    return n;
}

static bool locked_somewhere(const lay_unit *unit, int body) {
    for (size_t g = 0; g < unit->gear_count; g++)
        for (size_t k = 0; k < unit->gears[g].lock_count; k++)
            if (unit->gears[g].locks[k].a == body || unit->gears[g].locks[k].b == body) return true;
    return body == unit->reference || body == unit->output;
}

/* Of the two wheels of an epicyclic mesh the planet is what nothing can hold and what meshes on. */
static void find_planets(const lay_unit *unit, lay_layout *l) {
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        if (m->carrier == LAY_CASE) continue;
        bool driver = !locked_somewhere(unit, m->driver.body) && carrier_meshes(unit, m->driver.body, m->carrier) > 1;
        bool driven = !locked_somewhere(unit, m->driven.body) && carrier_meshes(unit, m->driven.body, m->carrier) > 1;
        if (driver) l->bodies[m->driver.body].planet = true;
        if (driven || !driver) l->bodies[m->driven.body].planet = true;
    }
}

static bool joinable(const lay_layout *l, int a, int b) {
    return a != LAY_CASE && b != LAY_CASE && !l->bodies[a].planet && !l->bodies[b].planet;
}

static void join_coaxial(const lay_unit *unit, lay_layout *l, int *root) {
    for (size_t g = 0; g < unit->gear_count; g++)
        for (size_t k = 0; k < unit->gears[g].lock_count; k++) {
            const lay_lock *lock = &unit->gears[g].locks[k];
            if (joinable(l, lock->a, lock->b)) lay_join(root, lock->a, lock->b);
        }
    for (size_t i = 0; i < unit->bearing_count; i++) {
        const lay_bearing *b = &unit->bearings[i];
        if (joinable(l, b->inner, b->outer)) lay_join(root, b->inner, b->outer);
    }
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        if (m->carrier == LAY_CASE) continue;
        if (joinable(l, m->driver.body, m->carrier)) lay_join(root, m->driver.body, m->carrier);
        if (joinable(l, m->driven.body, m->carrier)) lay_join(root, m->driven.body, m->carrier);
    }
}

bool lay_layout_axes(const lay_unit *unit, lay_layout *l, int *root) {
    for (size_t b = 0; b < unit->body_count; b++) root[b] = (int)b;
    find_planets(unit, l);
    join_coaxial(unit, l, root);
    for (size_t b = 0; b < unit->body_count; b++) {
        bool first = lay_root(root, (int)b) == (int)b && b != LAY_CASE;
        l->bodies[b].axis = b == LAY_CASE ? LAY_NOWHERE : first ? (int)l->axis_count++ : LAY_NOWHERE;
    }
    for (size_t b = 1; b < unit->body_count; b++) l->bodies[b].axis = l->bodies[lay_root(root, (int)b)].axis;
    for (size_t i = 0; i < unit->mesh_count; i++) {
        int a = l->bodies[unit->meshes[i].driver.body].axis, b = l->bodies[unit->meshes[i].driven.body].axis;
        if (a == b || a == LAY_NOWHERE || b == LAY_NOWHERE) return false;
    }
    return unit->mesh_count > 0;
}
