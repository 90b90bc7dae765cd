/* The plan of recordings, checked against the unit gear by gear, not against its own bookkeeping. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const files[] = {"five-speed", "four-speed-overdrive", "transaxle"};

static lay_unit *unit_from(const char *name) {
    lay_text path = {0};
    lay_unit *unit = NULL;
    lay_error err = {0};
    lay_text_add(&path, "%s/recordings/units/%s.ini", LAYSHAFT_SOURCE_DIR, name);
    if (lay_unit_load(path.text, &unit, &err) != LAY_OK) fail_msg("%s", err.message);
    lay_text_free(&path);
    return unit;
}

static lay_plan plan_of(const lay_unit *unit, const lay_run_table *table, int noisy) {
    lay_plan plan;
    lay_error err = {0};
    if (lay_plan_make(unit, table, noisy, &plan, &err) != LAY_OK) fail_msg("%s", err.message);
    return plan;
}

/* One gear of a unit. */
typedef struct view {
    lay_kinematics k;
    lay_expected *parts;
    size_t count;
    bool moves;
} view;

static view view_of(const lay_unit *unit, int gear) {
    view v = {0};
    assert_int_equal(lay_unit_solve(unit, gear, &v.k, NULL), LAY_OK);
    assert_int_equal(lay_unit_expect(unit, &v.k, &v.parts, &v.count, NULL), LAY_OK);
    v.moves = !v.k.free_body[unit->output] && fabs(v.k.speed[unit->output].value) > 1e-9;
    return v;
}

static void view_free(view *v) {
    free(v->parts);
    lay_kinematics_free(&v->k);
}

static bool alike(const view *v, size_t a, size_t b) {
    return v->parts[a].turning && v->parts[b].turning && lay_expected_same(&v->parts[a], &v->parts[b], 1.0 / 64, NULL);
}

static bool heard_apart(const view *v, size_t a, size_t b) {
    return (v->parts[a].turning || v->parts[b].turning) && !alike(v, a, b);
}

/* Pairs of parts that sound alike in some gear and apart in another, but in none of `chosen`. */
static size_t left_together(const view *gears, size_t gear_count, const bool *chosen) {
    size_t left = 0;
    for (size_t a = 0; a < gears[0].count; a++)
        for (size_t b = a + 1; b < gears[0].count; b++) {
            bool together = false, somewhere = false, here = false;
            for (size_t g = 0; g < gear_count; g++) {
                together = together || alike(&gears[g], a, b);
                somewhere = somewhere || heard_apart(&gears[g], a, b);
                here = here || (chosen[g] && heard_apart(&gears[g], a, b));
            }
            left += together && somewhere && !here;
        }
    return left;
}

static bool has(const lay_plan *plan, bool first_only, int gear, lay_load load) {
    for (size_t i = 0; i < plan->count; i++)
        if (plan->items[i].gear == gear && plan->items[i].load == load && (plan->items[i].first || !first_only))
            return true;
    return false;
}

static void check(const lay_unit *unit, const lay_plan *plan) {
    view *gears = calloc(unit->gear_count, sizeof *gears);
    bool *chosen = calloc(unit->gear_count, sizeof *chosen);
    for (size_t g = 0; g < unit->gear_count; g++) gears[g] = view_of(unit, (int)g);
    for (size_t i = 0; i < plan->count; i++)
        if (plan->items[i].first) chosen[plan->items[i].gear] = true;
    assert_int_equal(left_together(gears, unit->gear_count, chosen), 0);
    for (size_t part = 0; part < gears[0].count; part++) {
        bool loadable = false, turns = false, driven = false, coasted = false, carried = false, heard = false;
        for (size_t g = 0; g < unit->gear_count; g++) {
            bool carries = gears[g].moves && gears[g].parts[part].loaded;
            loadable = loadable || carries;
            turns = turns || gears[g].parts[part].turning;
            driven = driven || (carries && has(plan, false, (int)g, LAY_LOAD_DRIVE));
            coasted = coasted || (carries && has(plan, false, (int)g, LAY_LOAD_COAST));
            carried = carried || (carries && chosen[g]);
            heard = heard || (gears[g].parts[part].turning && chosen[g]);
        }
        if (gears[0].parts[part].type == LAY_PART_MESH && loadable) assert_true(driven && coasted);
        if (gears[0].parts[part].type == LAY_PART_BEARING && turns) assert_true(loadable ? carried : heard);
    }
    bool contrast = false, unloaded = false, neutral = false;
    for (size_t g = 0; g < unit->gear_count; g++) {
        contrast = contrast || (has(plan, true, (int)g, LAY_LOAD_DRIVE) && has(plan, true, (int)g, LAY_LOAD_COAST));
        unloaded = unloaded || has(plan, true, (int)g, LAY_LOAD_NONE);
        neutral = neutral || !gears[g].moves;
    }
    assert_true(contrast && unloaded == neutral);
    for (size_t g = 0; g < unit->gear_count; g++) view_free(&gears[g]);
    free(gears);
    free(chosen);
}

static void everything_is_proved(void **state) {
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        lay_unit *unit = unit_from(files[i]);
        for (int noisy = -1; noisy < (int)unit->gear_count; noisy++) {
            lay_plan plan = plan_of(unit, NULL, noisy);
            check(unit, &plan);
            assert_int_equal(plan.open, plan.count);
            for (size_t a = 0; a < plan.count; a++)
                for (size_t b = 0; b < a; b++)
                    assert_false(plan.items[a].gear == plan.items[b].gear && plan.items[a].load == plan.items[b].load);
            if (noisy >= 0) assert_int_equal(plan.items[0].gear, noisy);
            lay_plan_free(&plan);
        }
        lay_unit_free(unit);
    }
    lay_plan_free(NULL);
}

/* The first ones are at most two more (the contrast) than the best of all sets of gears. */
static void it_is_near_the_fewest(void **state) {
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        lay_unit *unit = unit_from(files[i]);
        view *gears = calloc(unit->gear_count, sizeof *gears);
        bool *chosen = calloc(unit->gear_count, sizeof *chosen);
        size_t best = unit->gear_count;
        for (size_t g = 0; g < unit->gear_count; g++) gears[g] = view_of(unit, (int)g);
        for (unsigned set = 1; set < 1u << unit->gear_count; set++) {
            size_t size = 0;
            for (size_t g = 0; g < unit->gear_count; g++) size += chosen[g] = (set >> g & 1) != 0;
            if (size < best && left_together(gears, unit->gear_count, chosen) == 0) best = size;
        }
        lay_plan plan = plan_of(unit, NULL, -1);
        assert_in_range(plan.first, best, best + 2);
        lay_plan_free(&plan);
        for (size_t g = 0; g < unit->gear_count; g++) view_free(&gears[g]);
        free(gears);
        free(chosen);
        lay_unit_free(unit);
    }
}

static void what_is_recorded_is_not_asked_for(void **state) {
    (void)state;
    lay_unit *unit = unit_from(files[0]);
    lay_plan all = plan_of(unit, NULL, -1);
    lay_run_spec *runs = calloc(all.count, sizeof *runs);
    for (size_t i = 0; i < all.count; i++) {
        runs[i].gear = unit->gears[all.items[i].gear].name;
        runs[i].load = all.items[i].load == LAY_LOAD_DRIVE ? LAY_LOAD_STEADY : all.items[i].load;
    }
    for (size_t count = 0; count <= all.count; count++) {
        const lay_run_table table = {.runs = runs, .count = count};
        lay_plan plan = plan_of(unit, &table, -1);
        check(unit, &plan);
        assert_true(plan.open <= all.count - count + 1);
        assert_true(count < all.count || plan.open == 0);
        lay_plan_free(&plan);
    }
    free(runs);
    lay_plan_free(&all);
    lay_unit_free(unit);
}

/* Both wheels of a reverse idler mesh at one order in every gear. */
static void what_no_gear_tells_apart_is_said(void **state) {
    (void)state;
    lay_unit *unit = unit_from(files[0]);
    lay_plan plan = plan_of(unit, NULL, -1);
    assert_non_null(strstr(plan.inseparable.text, "'reverse countershaft' and 'reverse mainshaft'"));
    lay_plan_free(&plan);
    lay_unit_free(unit);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything_is_proved),
        cmocka_unit_test(it_is_near_the_fewest),
        cmocka_unit_test(what_is_recorded_is_not_asked_for),
        cmocka_unit_test(what_no_gear_tells_apart_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
