/* Small simulated jobs with blows: the bearing and its element, or the wheel with the chip, are named; a healthy unit
 * with an engine that ticks is clear, and what nothing can tell apart is said to be so. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/simulated.h"
#include "support/unit_text.h"

#include <math.h>
#include <string.h>

#define BOX                                                                                                            \
    "[unit]\nname = Bench five-speed\ndriven by = input shaft\noutput = mainshaft\n"                                   \
    "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"                                            \
    "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"                                          \
    "[mesh second pair]\ndriver = countershaft, 21\ndriven = second gear, 35\n"                                        \
    "[gear 2]\nlock = second gear, mainshaft\n"                                                                        \
    "[gear 3]\nlock = third gear, mainshaft\n"                                                                         \
    "[gear 4]\nlock = input shaft, mainshaft\n"                                                                        \
    "[gear N]\nlock = mainshaft, case\n"                                                                               \
    "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n"                                                 \
    "[bearing front]\ninner = countershaft\nouter = case\nrolling elements = 9\n"                                      \
    "element diameter = 9.5 mm\npitch diameter = 46 mm\n"

static const char box[] = BOX "[bearing input]\ninner = input shaft\nouter = case\nrolling elements = 10\n"
                              "element diameter = 11 mm\npitch diameter = 58 mm\n"
                              "[bearing rear]\ninner = mainshaft\nouter = case\nrolling elements = 8\n"
                              "element diameter = 12 mm\npitch diameter = 55 mm\n";
/* The countershaft runs in two bearings of one size. */
static const char twins[] = BOX "[bearing back]\ninner = countershaft\nouter = case\nrolling elements = 9\n"
                                "element diameter = 9.5 mm\npitch diameter = 46 mm\n";
enum { SECOND = 2 }; /* mesh */
enum { FRONT, INPUT, REAR };

typedef struct job {
    lay_diagnosis diagnosis;
    lay_unit *used;
} job;

static void run_job(job *j, const char *text, const lay_fault *fault, lay_world world, uint64_t seed) {
    lay_unit *unit = unit_of(text);
    lay_sim_options options = {.seed = seed, .world = world, .tach = true, .rate = 16000, .seconds = 6};
    options.faults = fault;
    options.fault_count = fault ? 1 : 0;
    if (!fault) options.kinds = 1u << LAY_FAULT_NONE;
    *j = (job){0};
    simulated_diagnosis(unit, &options, NULL, &j->diagnosis, &j->used);
    lay_unit_free(unit);
}

static void forget(job *j) {
    lay_diagnosis_free(&j->diagnosis);
    lay_unit_free(j->used);
}

/* Blows 10 dB above the noise of their band; the suspect is the first by far. */
static void expect_first(lay_fault fault, lay_world world, const char *part, lay_kind kind, const char *body) {
    job j;
    fault.strength_db = 10;
    run_job(&j, box, &fault, world, 7);
    const lay_verdict *v = &j.diagnosis.verdict;
    if (v->outcome != LAY_ATTENTION || v->suspect_count == 0) fail_msg("%s: %s", part, v->summary);
    const lay_suspect *s = &v->suspects[0];
    assert_non_null(s->part);
    assert_string_equal(s->part, part);
    assert_int_equal(s->kind, kind);
    if (body) assert_string_equal(s->body, body);
    assert_true(s->probability > 0.6 && s->probability <= 1);
    assert_true(s->reasons.count > 0 && s->checks.count > 0);
    assert_true(isfinite(s->level_db) && isfinite(s->above_floor_db));
    assert_int_equal(s->not_separable_from.count, 0);
    assert_non_null(strstr(v->summary, part));
    forget(&j);
}

static void the_element_of_a_bearing_is_named(void **state) {
    (void)state;
    expect_first((lay_fault){.kind = LAY_FAULT_OUTER, .index = FRONT}, LAY_WORLD_STAND, "front", LAY_KIND_OUTER, NULL);
    expect_first((lay_fault){.kind = LAY_FAULT_INNER, .index = INPUT}, LAY_WORLD_CABIN, "input", LAY_KIND_INNER, NULL);
    expect_first((lay_fault){.kind = LAY_FAULT_ELEMENT, .index = REAR}, LAY_WORLD_STAND, "rear", LAY_KIND_ELEMENT,
                 NULL);
}

static void the_chipped_wheel_is_named(void **state) {
    (void)state;
    lay_fault fault = {.kind = LAY_FAULT_CHIP, .index = SECOND, .wheel = 1, .drive = true};
    expect_first(fault, LAY_WORLD_STAND, "second pair", LAY_KIND_CHIP, "second gear");
}

/* In a vehicle injectors and valves tick. */
static void a_ticking_engine_accuses_nobody(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 2; seed++) {
        job j;
        run_job(&j, box, NULL, seed == 1 ? LAY_WORLD_ROAD : LAY_WORLD_CABIN, seed);
        if (j.diagnosis.verdict.outcome != LAY_CLEAR) fail_msg("seed %d: %s", (int)seed, j.diagnosis.verdict.summary);
        forget(&j);
    }
}

static bool lists(const lay_strings *list, const char *word) {
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->items[i], word) == 0) return true;
    return false;
}

/* Both bearings of the countershaft strike alike in every gear: each is named with the other. */
static void two_of_a_kind_name_each_other(void **state) {
    (void)state;
    job j;
    lay_fault fault = {.kind = LAY_FAULT_OUTER, .index = 0, .strength_db = 10};
    run_job(&j, twins, &fault, LAY_WORLD_STAND, 7);
    const lay_verdict *v = &j.diagnosis.verdict;
    if (v->outcome != LAY_ATTENTION || v->suspect_count == 0) fail_msg("%s", v->summary);
    const lay_suspect *s = &v->suspects[0];
    bool front = strcmp(s->part, "front") == 0;
    assert_true(front || strcmp(s->part, "back") == 0);
    assert_int_equal(s->kind, LAY_KIND_OUTER);
    bool listed = lists(&s->not_separable_from, front ? "back" : "front");
    for (size_t i = 1; i < v->suspect_count; i++)
        listed |= v->suspects[i].part && strcmp(v->suspects[i].part, front ? "back" : "front") == 0;
    assert_true(listed);
    forget(&j);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_element_of_a_bearing_is_named),
        cmocka_unit_test(the_chipped_wheel_is_named),
        cmocka_unit_test(a_ticking_engine_accuses_nobody),
        cmocka_unit_test(two_of_a_kind_name_each_other),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
