/* The drawing of a unit: whatever the unit, wheels that are drawn in contact touch, wheels of one shaft do not hide
 * each other, and everything has a place. */
#include "report/layout.h"

#include <layshaft/sim.h>

#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <stdio.h>

#define ROUNDS 300

static double axis_of(const lay_layout *l, const lay_drawn_wheel *w) {
    return l->axis_y[l->bodies[w->body].axis];
}

/* Pitch circles: the distance of the axes is the sum of the radii, of a ring and its planet the difference. */
static void check_contact(const lay_unit *unit, const lay_layout *l, size_t mesh) {
    const lay_drawn_wheel *a = &l->wheels[2 * mesh], *b = a + 1;
    double apart = fabs(axis_of(l, a) - axis_of(l, b));
    double wanted = unit->meshes[mesh].internal ? fabs(a->radius - b->radius) : a->radius + b->radius;
    if (l->touching[mesh])
        assert_close(apart, wanted, 0, 0.011);
    else /* only what leaves the plane: a wheel that another mesh drew already */
        assert_true(a->again || b->again || a->body != b->body);
    assert_close(a->radius / b->radius, (double)a->teeth / b->teeth, 0, 1e-12);
    assert_true(a->radius > 0 && b->radius > 0);
}

static void check_columns(const lay_unit *unit, const lay_layout *l) {
    for (size_t i = 0; i < 2 * unit->mesh_count; i++)
        for (size_t k = 0; k < i; k++) {
            const lay_drawn_wheel *a = &l->wheels[i], *b = &l->wheels[k];
            bool together = l->column[i / 2] == l->column[k / 2] && axis_of(l, a) == axis_of(l, b);
            if (!together || a->again || b->again || a->ring || b->ring) continue;
            if (unit->meshes[i / 2].carrier == LAY_CASE) fail_msg("wheels %zu and %zu in one place", i, k);
        }
}

static void check_places(const lay_unit *unit, const lay_layout *l) {
    for (size_t i = 0; i < unit->mesh_count; i++) assert_true(l->column[i] < l->column_count);
    for (size_t a = 0; a < l->axis_count; a++) assert_true(isfinite(l->axis_y[a]));
    for (size_t i = 0; i < unit->bearing_count; i++) assert_true(isfinite(l->bearing_at[i]));
    for (size_t i = 0; i < 2 * unit->mesh_count; i++) {
        double y = axis_of(l, &l->wheels[i]), r = l->wheels[i].radius;
        const lay_drawn_body *body = &l->bodies[l->wheels[i].body];
        double x = (double)l->column[i / 2] + 0.5;
        assert_true(y - r >= l->top - 1e-9 && y + r <= l->bottom + 1e-9);
        assert_true(body->left < x && x < body->right);
    }
    assert_true(l->bodies[unit->reference].left < 0);
    if (unit->output >= 0) assert_true(l->bodies[unit->output].right > (double)l->column_count);
}

static int check(const lay_unit *unit) {
    lay_layout l;
    lay_error err = {0};
    bool possible = false;
    int touching = 0;
    assert_int_equal(lay_layout_make(unit, &l, &possible, &err), LAY_OK);
    assert_true(possible);
    for (size_t i = 0; i < unit->mesh_count; i++) {
        check_contact(unit, &l, i);
        touching += l.touching[i];
    }
    check_columns(unit, &l);
    check_places(unit, &l);
    lay_layout_free(&l);
    return touching;
}

static void test_random_units(void **state) {
    (void)state;
    int touching = 0, meshes = 0;
    for (uint64_t seed = 1; seed <= ROUNDS; seed++) {
        lay_unit *unit;
        lay_error err = {0};
        if (lay_sim_unit(seed, &unit, &err) != LAY_OK) fail_msg("%s", err.message);
        touching += check(unit);
        meshes += (int)unit->mesh_count;
        lay_unit_free(unit);
    }
    /* a reverse idler touches two wheels in space and one in the plane; every other pair can be drawn as it is */
    assert_true(touching > 0.8 * meshes);
}

static void test_units_of_the_repository(void **state) {
    (void)state;
    static const struct {
        const char *name;
        size_t axes, columns;
        int apart; /* meshes that a plane cannot show in contact */
    } units[] = {{"five-speed", 3, 6, 1}, {"transaxle", 4, 7, 1}, {"four-speed-overdrive", 4, 6, 1}};
    for (size_t i = 0; i < 3; i++) {
        char path[512];
        lay_unit *unit;
        lay_layout l;
        lay_error err = {0};
        bool possible;
        snprintf(path, sizeof path, LAYSHAFT_SOURCE_DIR "/recordings/units/%s.ini", units[i].name);
        assert_int_equal(lay_unit_load(path, &unit, &err), LAY_OK);
        assert_int_equal(lay_layout_make(unit, &l, &possible, &err), LAY_OK);
        assert_int_equal(l.axis_count, units[i].axes);
        assert_int_equal(l.column_count, units[i].columns);
        lay_layout_free(&l);
        assert_int_equal((int)unit->mesh_count - check(unit), units[i].apart);
        lay_unit_free(unit);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_random_units),
                                       cmocka_unit_test(test_units_of_the_repository)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
