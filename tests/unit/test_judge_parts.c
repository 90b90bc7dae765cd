/* What may stay: only what a recording put to the test is cleared, and never what is accused. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/simulated.h"
#include "support/unit_text.h"

#include <string.h>

/* Two bearings on the countershaft of which one has no geometry, and a pair that no gear loads. */
static const char box[] = "[unit]\nname = Bench five-speed\ndriven by = input shaft\noutput = mainshaft\n"
                          "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                          "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"
                          "[mesh spare pair]\ndriver = countershaft, 21\ndriven = spare gear, 35\n"
                          "[gear 3]\nlock = third gear, mainshaft\n"
                          "[gear 4]\nlock = input shaft, mainshaft\n"
                          "[gear N]\nlock = mainshaft, case\n"
                          "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n"
                          "[bearing front]\ninner = countershaft\nouter = case\nrolling elements = 9\n"
                          "element diameter = 9.5 mm\npitch diameter = 46 mm\n"
                          "[bearing counted]\ninner = mainshaft\nouter = case\nrolling elements = 11\n";

enum { THIRD = 1 };

static const lay_part_finding *finding(const lay_verdict *v, const char *part) {
    for (size_t i = 0; i < v->part_count; i++)
        if (strcmp(v->parts[i].part, part) == 0) return &v->parts[i];
    fail_msg("nothing is said of %s", part);
    return NULL;
}

static void judge(const lay_fault *fault, lay_world world, lay_diagnosis *d, lay_unit **used) {
    lay_unit *unit = unit_of(box);
    lay_sim_options options = {.seed = 11, .world = world, .tach = true, .rate = 16000, .seconds = 6};
    options.faults = fault;
    options.fault_count = fault ? 1 : 0;
    if (!fault) options.kinds = 1u << LAY_FAULT_NONE;
    simulated_diagnosis(unit, &options, NULL, d, used);
    lay_unit_free(unit);
}

static void test_stand(void **state) {
    (void)state;
    const lay_fault fault = {.kind = LAY_FAULT_MESH, .index = THIRD, .strength_db = 14};
    lay_diagnosis d;
    lay_unit *used;
    judge(&fault, LAY_WORLD_STAND, &d, &used);
    const lay_verdict *v = &d.verdict;
    assert_int_equal(v->part_count, 5);
    assert_int_equal(finding(v, "third pair")->state, LAY_STATE_SUSPECT);
    assert_int_equal(finding(v, "headset")->state, LAY_STATE_CLEARED);
    assert_non_null(strstr(finding(v, "headset")->why, "on drive"));
    assert_int_equal(finding(v, "spare pair")->state, LAY_STATE_UNTESTED);
    assert_int_equal(finding(v, "front")->state, LAY_STATE_CLEARED);
    assert_int_equal(finding(v, "counted")->state, LAY_STATE_UNTESTED);
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

/* A microphone clears no bearing. */
static void test_microphone(void **state) {
    (void)state;
    lay_diagnosis d;
    lay_unit *used;
    judge(NULL, LAY_WORLD_CABIN, &d, &used);
    assert_int_equal(d.runs[0].sensor, LAY_SENSOR_MIC);
    const lay_part_finding *front = finding(&d.verdict, "front");
    assert_int_not_equal(front->state, LAY_STATE_CLEARED);
    assert_non_null(strstr(front->why, "microphone"));
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_stand), cmocka_unit_test(test_microphone)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
