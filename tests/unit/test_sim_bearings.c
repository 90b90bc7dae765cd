/* How simulated bearings really turn, and which parts no recording of a job can tell apart. */
#include <layshaft/sim.h>

#include "sim/bearing.h"
#include "sim/trains.h"
#include "sim/twins.h"
#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>

/* An inline box whose pilot bearing runs between two turning shafts. */
static const char box[] = "[unit]\nname = Bench\ndriven by = input shaft\noutput = mainshaft\n"
                          "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                          "[mesh second pair]\ndriver = countershaft, 20\ndriven = second gear, 37\n"
                          "[gear 2]\nlock = second gear, mainshaft\n"
                          "[gear N]\nlock = mainshaft, case\n"
                          "[bearing front]\ninner = countershaft\nouter = case\nrolling elements = 9\n"
                          "element diameter = 9.5 mm\npitch diameter = 46 mm\n"
                          "[bearing rear]\ninner = countershaft\nouter = case\nrolling elements = 9\n"
                          "element diameter = 9.5 mm\npitch diameter = 46.1 mm\n"
                          "[bearing pilot]\ninner = mainshaft\nouter = input shaft\nrolling elements = 9\n"
                          "element diameter = 5 mm\npitch diameter = 24 mm\n"
                          "[bearing unknown]\ninner = input shaft\nouter = case\nrolling elements = 9\n"
                          "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n";
enum { FRONT, REAR, PILOT, COUNT_ONLY };

typedef struct stage {
    lay_unit *unit;
    lay_sim_scene *scene;
} stage;

static stage set_up(uint64_t seed, const lay_fault *fault) {
    stage s = {0};
    lay_error err = {0};
    lay_sim_options options = {
        .seed = seed, .world = LAY_WORLD_QUIET, .rate = 16000, .seconds = 6, .faults = fault, .fault_count = 1};
    s.scene = lay_calloc(1, sizeof *s.scene);
    if (lay_unit_parse(box, sizeof box - 1, "box", &s.unit, &err) != LAY_OK ||
        lay_sim_scene_build(s.scene, s.unit, &options, &err) != LAY_OK)
        fail_msg("%s", err.message);
    return s;
}

static void put_away(stage *s) {
    lay_sim_scene_free(s->scene);
    free(s->scene);
    lay_unit_free(s->unit);
}

/* ---- orders ---- */

/* Slip moves the passages over the rings against each other: their sum is N times the relative speed, always. It is the
 * bearing's own; from run to run it moves by 0.2 % either way at most. */
static void slip_belongs_to_the_bearing(void **state) {
    (void)state;
    lay_fault none = {.kind = LAY_FAULT_NONE};
    double lowest = 1, highest = 0;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        stage s = set_up(seed, &none);
        double first[4] = {0};
        for (size_t r = 0; r < s.scene->run_count; r++)
            for (int b = FRONT; b <= COUNT_ONLY; b++) {
                const lay_sim_run *run = &s.scene->runs[r];
                const lay_expected *e = lay_sim_run_part(run, LAY_PART_BEARING, b);
                lay_sim_bearing_orders orders;
                if (!lay_sim_bearing_solve(s.scene, run, b, &orders)) continue;
                double slip = 1 - orders.outer / e->bpfo;
                assert_close(orders.outer + orders.inner, 9 * e->order, 0, 1e-9);
                assert_close(slip, 0, b == COUNT_ONLY ? 0.1 : 0.0171, 0);
                if (first[b] == 0) first[b] = slip;
                assert_close(slip, first[b], 0.00405, 0);
                if (b == FRONT) lowest = fmin(lowest, slip), highest = fmax(highest, slip);
                if (b == FRONT) assert_close(orders.cage * 9, orders.outer, 0, 1e-9);
                if (b == COUNT_ONLY) assert_true(orders.element == 0);
            }
        put_away(&s);
    }
    assert_true(lowest < 0 && highest > 0.01);
}

/* ---- twins ---- */

static bool twins(lay_fault_kind kind, int index, int other) {
    lay_fault fault = {.kind = kind, .index = index, .strength_db = 9};
    stage s = set_up(5, &fault);
    const lay_sim_run *any = &s.scene->runs[0];
    bool found = lay_sim_inseparable(s.scene, &fault, lay_sim_run_part(any, LAY_PART_BEARING, index),
                                     lay_sim_run_part(any, LAY_PART_BEARING, other));
    put_away(&s);
    return found;
}

static void only_like_bearings_are_twins(void **state) {
    (void)state;
    assert_true(twins(LAY_FAULT_OUTER, FRONT, REAR));
    assert_true(twins(LAY_FAULT_INNER, FRONT, REAR));
    assert_true(twins(LAY_FAULT_ELEMENT, REAR, FRONT));
    assert_false(twins(LAY_FAULT_OUTER, FRONT, PILOT));
    assert_false(twins(LAY_FAULT_OUTER, FRONT, COUNT_ONLY));
}

/* A chip of the headset's countershaft wheel strikes like one of the second pair's, where second gear is all that was
 * recorded. */
static void chips_of_one_shaft_part_by_gear(void **state) {
    (void)state;
    lay_fault fault = {.kind = LAY_FAULT_CHIP, .index = 0, .wheel = 1, .drive = true, .coast = true, .strength_db = 9};
    stage s = set_up(5, &fault);
    const lay_sim_run *any = &s.scene->runs[0];
    const lay_expected *headset = lay_sim_run_part(any, LAY_PART_MESH, 0);
    const lay_expected *pair = lay_sim_run_part(any, LAY_PART_MESH, 1);
    assert_true(lay_sim_inseparable(s.scene, &fault, headset, pair));
    fault.wheel = 0; /* on the input shaft, where the pair has no wheel */
    assert_false(lay_sim_inseparable(s.scene, &fault, headset, pair));
    put_away(&s);
}

/* Where an element of a bearing strikes that is known by its count alone, nobody can say. */
static void unknown_elements_are_not_drawn(void **state) {
    (void)state;
    lay_fault fault = {.kind = LAY_FAULT_ELEMENT, .index = COUNT_ONLY, .strength_db = 9};
    lay_sim_options options = {.faults = &fault, .fault_count = 1, .rate = 16000, .seconds = 4};
    lay_unit *unit = NULL;
    lay_sim_scene *scene = lay_calloc(1, sizeof *scene);
    assert_int_equal(lay_unit_parse(box, sizeof box - 1, "box", &unit, NULL), LAY_OK);
    assert_int_equal(lay_sim_scene_build(scene, unit, &options, NULL), LAY_BAD_INPUT);
    lay_sim_scene_free(scene);
    free(scene);
    lay_unit_free(unit);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(slip_belongs_to_the_bearing),
        cmocka_unit_test(only_like_bearings_are_twins),
        cmocka_unit_test(chips_of_one_shaft_part_by_gear),
        cmocka_unit_test(unknown_elements_are_not_drawn),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
