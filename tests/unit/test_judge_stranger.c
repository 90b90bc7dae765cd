/* Blows of a bearing that the unit file does not list: nobody is accused for them, and how often something strikes is
 * told. */
#include <layshaft/judge.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/simulated.h"
#include "support/unit_text.h"

#include <string.h>

#define BOX                                                                                                            \
    "[unit]\nname = Bench four-speed\ndriven by = input shaft\noutput = mainshaft\n"                                   \
    "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"                                            \
    "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"                                          \
    "[mesh second pair]\ndriver = countershaft, 21\ndriven = second gear, 35\n"                                        \
    "[gear 2]\nlock = second gear, mainshaft\n"                                                                        \
    "[gear 3]\nlock = third gear, mainshaft\n"                                                                         \
    "[gear 4]\nlock = input shaft, mainshaft\n"                                                                        \
    "[gear N]\nlock = mainshaft, case\n"
#define REAR                                                                                                           \
    "[bearing rear]\ninner = mainshaft\nouter = case\nrolling elements = 8\n"                                          \
    "element diameter = 12 mm\npitch diameter = 55 mm\n"

static const char whole[] = BOX REAR "[bearing input]\ninner = input shaft\nouter = case\nrolling elements = 10\n"
                                     "element diameter = 11 mm\npitch diameter = 58 mm\n";
static const char listed[] = BOX REAR;

static void run_job(const lay_fault *fault, uint64_t seed, lay_diagnosis *d, lay_unit **used) {
    lay_unit *unit = unit_of(whole);
    lay_sim_options options = {.seed = seed, .world = LAY_WORLD_STAND, .tach = true, .rate = 16000, .seconds = 6};
    options.faults = fault;
    options.fault_count = fault ? 1 : 0;
    if (!fault) options.kinds = 1u << LAY_FAULT_NONE;
    simulated_diagnosis(unit, &options, listed, d, used);
    lay_unit_free(unit);
}

/* BPFO of the bearing left out: 10 / 2 (1 - 11 / 58) = 4.0517 per turn (formula: SNFA catalogue, Vibration and Noise),
 * less or more by its slip of up to 1.5 per cent. */
static void a_bearing_left_out_is_told_by_its_rate(void **state) {
    (void)state;
    lay_diagnosis d = {0};
    lay_unit *used = NULL;
    run_job(&(lay_fault){.kind = LAY_FAULT_OUTER, .index = 1, .strength_db = 12}, 5, &d, &used);
    const lay_verdict *v = &d.verdict;
    if (!v->stranger.found) fail_msg("%s", v->summary);
    assert_string_equal(used->bodies[v->stranger.body].name, "input shaft");
    assert_close(v->stranger.times, 4.0517, 0.07, 0);
    assert_true(v->stranger.runs > 1 && v->stranger.probability > 0.6 && v->stranger.height_db > 10);
    assert_int_equal(v->outcome, LAY_INCONCLUSIVE);
    assert_non_null(strstr(v->summary, "input shaft"));
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

static void a_sound_unit_has_no_stranger(void **state) {
    (void)state;
    lay_diagnosis d = {0};
    lay_unit *used = NULL;
    run_job(NULL, 5, &d, &used);
    assert_false(d.verdict.stranger.found);
    assert_int_equal(d.verdict.outcome, LAY_CLEAR);
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_bearing_left_out_is_told_by_its_rate),
        cmocka_unit_test(a_sound_unit_has_no_stranger),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
