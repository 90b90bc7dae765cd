/* Small simulated jobs: a healthy unit is clear, a fault of each kind is named, and doubt is said where it is due. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/simulated.h"
#include "support/unit_text.h"

#include <stdio.h>
#include <string.h>

static const char box[] = "[unit]\nname = Bench five-speed\ndriven by = input shaft\noutput = mainshaft\n"
                          "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                          "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"
                          "[mesh second pair]\ndriver = countershaft, 21\ndriven = second gear, 35\n"
                          "[mesh reverse driver]\ndriver = countershaft, 15\ndriven = reverse idler, 20\n"
                          "[mesh reverse driven]\ndriver = reverse idler, 20\ndriven = reverse gear, 37\n"
                          "[gear 2]\nlock = second gear, mainshaft\n"
                          "[gear 3]\nlock = third gear, mainshaft\n"
                          "[gear 4]\nlock = input shaft, mainshaft\n"
                          "[gear R]\nlock = reverse gear, mainshaft\n"
                          "[gear N]\nlock = mainshaft, case\n"
                          "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n"
                          "[axle]\npinion = 11\nring = 41\n"
                          "[other alternator]\nturns with = input shaft\nratio = 2.7\norders = 1, 6\n";
enum { HEADSET, THIRD, SECOND, REVERSE_DRIVER, REVERSE_DRIVEN };

static lay_unit *unit;

static int make_unit(void **state) {
    (void)state;
    unit = unit_of(box);
    return 0;
}

static int free_unit(void **state) {
    (void)state;
    lay_unit_free(unit);
    return 0;
}

static void run_job(const lay_fault *fault, lay_world world, uint64_t seed, lay_diagnosis *d, lay_unit **used) {
    lay_sim_options options = {.seed = seed, .world = world, .tach = true, .rate = 16000, .seconds = 6};
    options.faults = fault;
    options.fault_count = fault ? 1 : 0;
    if (!fault) options.kinds = 1u << LAY_FAULT_NONE;
    simulated_diagnosis(unit, &options, NULL, d, used);
}

static void healthy_units_are_clear(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        lay_diagnosis d = {0};
        lay_unit *used = NULL;
        run_job(NULL, (lay_world)(seed % 3), seed, &d, &used);
        if (d.verdict.outcome != LAY_CLEAR) fail_msg("seed %d: %s", (int)seed, d.verdict.summary);
        lay_diagnosis_free(&d);
        lay_unit_free(used);
    }
}

static void expect_first(lay_fault fault, lay_world world, lay_outcome outcome, const char *part, lay_kind kind) {
    lay_diagnosis d = {0};
    lay_unit *used = NULL;
    fault.strength_db = 16;
    run_job(&fault, world, 7, &d, &used);
    if (d.verdict.outcome != outcome || d.verdict.suspect_count == 0) fail_msg("%s: %s", part, d.verdict.summary);
    const lay_suspect *s = &d.verdict.suspects[0];
    assert_string_equal(s->part ? s->part : "(unknown)", part);
    assert_int_equal(s->kind, kind);
    assert_true(s->probability > 0.5 && s->probability <= 1);
    assert_true(s->reasons.count > 0 && s->checks.count > 0);
    assert_non_null(strstr(d.verdict.summary, s->part ? s->part : "outside"));
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

static void a_whining_mesh_is_named(void **state) {
    (void)state;
    lay_fault fault = {.kind = LAY_FAULT_MESH, .index = THIRD, .drive = true};
    expect_first(fault, LAY_WORLD_STAND, LAY_ATTENTION, "third pair", LAY_KIND_MESH);
}

static void an_eccentric_wheel_is_named(void **state) {
    (void)state;
    lay_fault fault = {.kind = LAY_FAULT_ECCENTRIC, .index = SECOND, .wheel = 1, .drive = true, .coast = true};
    expect_first(fault, LAY_WORLD_STAND, LAY_ATTENTION, "second pair", LAY_KIND_ECCENTRIC);
}

static void a_ghost_order_is_named(void **state) {
    (void)state;
    lay_fault fault = {
        .kind = LAY_FAULT_GHOST, .index = THIRD, .wheel = 1, .multiple = 67, .drive = true, .coast = true};
    expect_first(fault, LAY_WORLD_STAND, LAY_ATTENTION, "third pair", LAY_KIND_GHOST);
}

static void sources_outside_are_told_apart(void **state) {
    (void)state;
    lay_fault axle = {.kind = LAY_FAULT_AXLE, .drive = true, .coast = true};
    expect_first(axle, LAY_WORLD_ROAD, LAY_OUTSIDE, "axle", LAY_KIND_OUTSIDE);
    lay_fault rotor = {.kind = LAY_FAULT_ROTOR, .index = 0};
    expect_first(rotor, LAY_WORLD_ROAD, LAY_OUTSIDE, "alternator", LAY_KIND_OUTSIDE);
}

/* The idler gives both its meshes one order in every gear. */
static void the_meshes_of_an_idler_name_each_other(void **state) {
    (void)state;
    lay_fault fault = {
        .kind = LAY_FAULT_MESH, .index = REVERSE_DRIVER, .drive = true, .coast = true, .strength_db = 16};
    lay_diagnosis d = {0};
    lay_unit *used = NULL;
    run_job(&fault, LAY_WORLD_STAND, 7, &d, &used);
    assert_int_equal(d.verdict.outcome, LAY_ATTENTION);
    const lay_suspect *s = &d.verdict.suspects[0];
    bool driver = strcmp(s->part, "reverse driver") == 0;
    assert_true(driver || strcmp(s->part, "reverse driven") == 0);
    assert_int_equal(s->not_separable_from.count, 1);
    assert_string_equal(s->not_separable_from.items[0], driver ? "reverse driven" : "reverse driver");
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

/* Evidence that nothing loads the gears, however it sounds, clears nobody. */
static void neutral_alone_settles_nothing(void **state) {
    (void)state;
    lay_run_evidence run = {.gear = lay_unit_gear(unit, "N"),
                            .load = LAY_LOAD_NONE,
                            .full_scale = 1,
                            .usable = true,
                            .tach_body = -1,
                            .speed_source = LAY_SPEED_TACH,
                            .mean_hz = 30,
                            .min_hz = 30,
                            .max_hz = 30};
    lay_verdict verdict = {0};
    lay_error err = {0};
    assert_int_equal(lay_unit_solve(unit, run.gear, &run.kinematics, &err), LAY_OK);
    assert_int_equal(lay_unit_expect(unit, &run.kinematics, &run.expected, &run.expected_count, &err), LAY_OK);
    if (lay_judge(unit, NULL, &run, 1, &verdict, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(verdict.outcome, LAY_INCONCLUSIVE);
    assert_non_null(strstr(verdict.summary, "drive"));
    assert_non_null(strstr(verdict.summary, "coast"));
    assert_true(verdict.add.count > 0);
    lay_verdict_free(&verdict);
    lay_run_evidence_free(&run);
}

static void unusable_runs_are_inconclusive(void **state) {
    (void)state;
    lay_run_evidence runs[2] = {{.gear = -1}, {.gear = 0, .usable = false}};
    lay_verdict verdict = {0};
    lay_error err = {0};
    if (lay_judge(unit, NULL, runs, 2, &verdict, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(verdict.outcome, LAY_INCONCLUSIVE);
    assert_non_null(verdict.summary);
    lay_verdict_free(&verdict);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(healthy_units_are_clear),        cmocka_unit_test(a_whining_mesh_is_named),
        cmocka_unit_test(an_eccentric_wheel_is_named),    cmocka_unit_test(a_ghost_order_is_named),
        cmocka_unit_test(sources_outside_are_told_apart), cmocka_unit_test(the_meshes_of_an_idler_name_each_other),
        cmocka_unit_test(neutral_alone_settles_nothing),  cmocka_unit_test(unusable_runs_are_inconclusive),
    };
    return cmocka_run_group_tests(tests, make_unit, free_unit);
}
