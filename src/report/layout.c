#include "layout.h"

#include <math.h>
#include <stdlib.h>

static int axis_of(const lay_layout *l, int body) {
    return l->bodies[body].axis;
}

/* Distance between the axes of a mesh if all wheels of the unit had teeth of one size. */
static double own_distance(const lay_mesh *m) {
    int teeth = m->internal ? abs(m->driver.teeth - m->driven.teeth) : m->driver.teeth + m->driven.teeth;
    return 0.5 * (teeth > 0 ? teeth : 1);
}

static bool same_axes(const lay_layout *l, const lay_mesh *a, const lay_mesh *b) {
    int a1 = axis_of(l, a->driver.body), a2 = axis_of(l, a->driven.body);
    int b1 = axis_of(l, b->driver.body), b2 = axis_of(l, b->driven.body);
    return (a1 == b1 && a2 == b2) || (a1 == b2 && a2 == b1);
}

/* All pairs between the same two axes have the same distance in truth: the mean of what their counts suggest. */
static double distance(const lay_unit *unit, const lay_layout *l, const lay_mesh *m) {
    double sum = 0;
    int n = 0;
    for (size_t i = 0; i < unit->mesh_count; i++)
        if (same_axes(l, m, &unit->meshes[i])) {
            sum += own_distance(&unit->meshes[i]);
            n++;
        }
    return sum / n;
}

static void size_wheels(const lay_unit *unit, lay_layout *l) {
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        double scale = distance(unit, l, m) / own_distance(m);
        bool driver_ring = m->internal && m->driver.teeth > m->driven.teeth;
        l->wheels[2 * i] = (lay_drawn_wheel){.body = m->driver.body,
                                             .teeth = m->driver.teeth,
                                             .radius = 0.5 * m->driver.teeth * scale,
                                             .ring = driver_ring};
        l->wheels[2 * i + 1] = (lay_drawn_wheel){.body = m->driven.body,
                                                 .teeth = m->driven.teeth,
                                                 .radius = 0.5 * m->driven.teeth * scale,
                                                 .ring = m->internal && !driver_ring};
    }
}

/* ---- heights of the axes ---- */

/* Nearest other axis in units of `reach`. */
static double room_at(const lay_layout *l, const bool *placed, double y, double reach) {
    double least = INFINITY;
    for (size_t a = 0; a < l->axis_count; a++)
        if (placed[a]) least = fmin(least, fabs(y - l->axis_y[a]) / reach);
    return least;
}

static double lowest(const lay_layout *l, const bool *placed) {
    double y = 0;
    for (size_t a = 0; a < l->axis_count; a++)
        if (placed[a]) y = fmax(y, l->axis_y[a]);
    return y;
}

#define ROOM 0.45 /* of the distance: nearer to a third axis the wheels would hide it */

/* Below the axis it meshes with, or above; planets go above first. Where a third axis is in the way: under all. */
static void place(lay_layout *l, bool *placed, int axis, int from, double reach, bool planet) {
    double first = l->axis_y[from] + (planet ? -reach : reach), other = l->axis_y[from] + (planet ? reach : -reach);
    if (room_at(l, placed, first, reach) >= ROOM || planet)
        l->axis_y[axis] = first;
    else if (room_at(l, placed, other, reach) >= ROOM)
        l->axis_y[axis] = other;
    else
        l->axis_y[axis] = lowest(l, placed) + reach;
    placed[axis] = true;
}

static bool place_next(const lay_unit *unit, lay_layout *l, bool *placed) {
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        int a = axis_of(l, m->driver.body), b = axis_of(l, m->driven.body);
        if (placed[a] == placed[b]) continue;
        int body = placed[a] ? m->driven.body : m->driver.body;
        place(l, placed, placed[a] ? b : a, placed[a] ? a : b, distance(unit, l, m), l->bodies[body].planet);
        return true;
    }
    return false;
}

#define APART 12.0 /* teeth between axes that nothing connects */

static void place_axes(const lay_unit *unit, lay_layout *l, bool *placed) {
    int first = axis_of(l, unit->reference);
    placed[first != LAY_NOWHERE ? first : 0] = true;
    for (;;) {
        while (place_next(unit, l, placed)) continue;
        size_t a = 0;
        while (a < l->axis_count && placed[a]) a++;
        if (a == l->axis_count) return;
        l->axis_y[a] = lowest(l, placed) + APART;
        placed[a] = true;
    }
}

static void find_extent(const lay_unit *unit, lay_layout *l) {
    for (size_t a = 0; a < l->axis_count; a++) {
        l->top = fmin(l->top, l->axis_y[a]);
        l->bottom = fmax(l->bottom, l->axis_y[a]);
    }
    for (size_t i = 0; i < 2 * unit->mesh_count; i++) {
        double y = l->axis_y[axis_of(l, l->wheels[i].body)];
        l->top = fmin(l->top, y - l->wheels[i].radius);
        l->bottom = fmax(l->bottom, y + l->wheels[i].radius);
    }
}

static void find_contacts(const lay_unit *unit, lay_layout *l) {
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        double apart = fabs(l->axis_y[axis_of(l, m->driver.body)] - l->axis_y[axis_of(l, m->driven.body)]);
        l->touching[i] = fabs(apart - distance(unit, l, m)) < 0.01 * apart;
    }
}

static bool allocate(const lay_unit *unit, lay_layout *l, int **root, bool **placed) {
    size_t most = unit->body_count > unit->mesh_count ? unit->body_count : unit->mesh_count;
    *root = lay_calloc(most + 1, sizeof **root);
    *placed = lay_calloc(unit->body_count + 1, sizeof **placed);
    l->axis_y = lay_calloc(unit->body_count + 1, sizeof *l->axis_y);
    l->bodies = lay_calloc(unit->body_count + 1, sizeof *l->bodies);
    l->wheels = lay_calloc(2 * unit->mesh_count + 1, sizeof *l->wheels);
    l->column = lay_calloc(unit->mesh_count + 1, sizeof *l->column);
    l->touching = lay_calloc(unit->mesh_count + 1, sizeof *l->touching);
    l->bearing_at = lay_calloc(unit->bearing_count + 1, sizeof *l->bearing_at);
    return *root && *placed && l->axis_y && l->bodies && l->wheels && l->column && l->touching && l->bearing_at;
}

lay_status lay_layout_make(const lay_unit *unit, lay_layout *out, bool *possible, lay_error *err) {
    int *root = NULL;
    bool *placed = NULL;
    *out = (lay_layout){0};
    *possible = false;
    lay_status status =
        allocate(unit, out, &root, &placed) ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK) *possible = lay_layout_axes(unit, out, root);
    if (*possible) {
        size_wheels(unit, out);
        place_axes(unit, out, placed);
        find_contacts(unit, out);
        find_extent(unit, out);
        lay_layout_columns(unit, out, root);
    }
    free(root);
    free(placed);
    return status;
}

void lay_layout_free(lay_layout *l) {
    free(l->axis_y);
    free(l->bodies);
    free(l->wheels);
    free(l->column);
    free(l->touching);
    free(l->bearing_at);
    *l = (lay_layout){0};
}
