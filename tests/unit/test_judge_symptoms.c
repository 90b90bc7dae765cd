/* What a closer look says of simulated meshes whose condition is known: the right words, of the right wheel. Random
 * jobs with fixed seeds; how often it is right on fleets stands in docs/accuracy.md. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/simulated.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char unit_text[] = "[unit]\nname = Bench five-speed\ndriven by = input shaft\noutput = mainshaft\n"
                                "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                                "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"
                                "[gear 3]\nlock = third gear, mainshaft\n[gear N]\nlock = mainshaft, case\n";

static lay_unit *unit;

static int setup(void **state) {
    (void)state;
    unit = unit_of(unit_text);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    lay_unit_free(unit);
    return 0;
}

static const lay_symptom *symptom_of(const lay_diagnosis *d, lay_symptom_kind kind) {
    const lay_suspect *s = &d->verdict.suspects[0];
    for (size_t i = 0; i < s->symptom_count; i++)
        if (s->symptoms[i].kind == kind) return &s->symptoms[i];
    return NULL;
}

/* Diagnoses a quiet job of this unit with a fault of the third pair; the first suspect must be that pair. */
static lay_diagnosis diagnosis_of(lay_fault fault, lay_unit **used) {
    lay_diagnosis d;
    fault.index = 1;
    fault.strength_db = 20;
    const lay_sim_options o = {.seed = 41,
                               .world = LAY_WORLD_QUIET,
                               .tach = true,
                               .rate = 16000,
                               .seconds = 14,
                               .faults = &fault,
                               .fault_count = 1};
    simulated_diagnosis(unit, &o, NULL, &d, used);
    assert_true(d.verdict.suspect_count > 0);
    assert_string_equal(d.verdict.suspects[0].part, "third pair");
    return d;
}

static void run_out_names_the_wheel(void **state) {
    (void)state;
    for (int wheel = 0; wheel < 2; wheel++) {
        lay_unit *used = NULL;
        lay_diagnosis d =
            diagnosis_of((lay_fault){.kind = LAY_FAULT_ECCENTRIC, .wheel = wheel, .drive = true, .coast = true}, &used);
        const lay_symptom *s = symptom_of(&d, LAY_SYMPTOM_RUN_OUT);
        assert_non_null(s);
        assert_string_equal(s->body, wheel ? "third gear" : "countershaft");
        assert_true(s->value > 0 && s->sure > 0.5 && strstr(s->text, s->body));
        lay_diagnosis_free(&d);
        lay_unit_free(used);
    }
}

static void one_flank_is_told_from_both(void **state) {
    (void)state;
    for (int both = 0; both < 2; both++) {
        lay_unit *used = NULL;
        lay_diagnosis d = diagnosis_of((lay_fault){.kind = LAY_FAULT_MESH, .drive = true, .coast = both}, &used);
        const lay_symptom *s = symptom_of(&d, LAY_SYMPTOM_FLANK);
        assert_non_null(s);
        assert_non_null(strstr(s->text, both ? "both flanks" : "look at the drive flanks"));
        assert_true(both ? fabs(s->value) < 4 : s->value > 8);
        lay_diagnosis_free(&d);
        lay_unit_free(used);
    }
}

static void conditions_show(void **state) {
    (void)state;
    static const struct {
        lay_condition_kind condition;
        lay_symptom_kind symptom;
        bool names_wheel;
    } rows[] = {{LAY_CONDITION_WORN, LAY_SYMPTOM_HARMONICS, false},
                {LAY_CONDITION_ASKEW, LAY_SYMPTOM_TWICE, true},
                {LAY_CONDITION_LOOSE, LAY_SYMPTOM_LOOSE, true}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lay_unit *used = NULL;
        lay_diagnosis d = diagnosis_of(
            (lay_fault){
                .kind = LAY_FAULT_MESH, .wheel = 1, .drive = true, .coast = true, .condition = rows[i].condition},
            &used);
        const lay_symptom *s = symptom_of(&d, rows[i].symptom);
        if (!s) fail_msg("%s does not show", lay_condition_name(rows[i].condition));
        if (rows[i].names_wheel) assert_string_equal(s->body, "third gear");
        lay_diagnosis_free(&d);
        lay_unit_free(used);
    }
}

static void what_was_measured_is_handed_on(void **state) {
    (void)state;
    lay_unit *used = NULL;
    lay_diagnosis d = diagnosis_of((lay_fault){.kind = LAY_FAULT_MESH, .drive = true, .coast = true}, &used);
    assert_true(d.look.cut_count > 0 && d.look.wheel_count >= 2);
    for (size_t i = 0; i < d.look.wheel_count; i++) {
        const lay_look_wheel *w = &d.look.wheels[i];
        assert_int_equal(w->teeth[0], w->wheel ? 29 : 27);
        assert_true(w->average.turns >= 8);
        assert_int_equal(w->signals.points, w->average.points);
    }
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

static void nothing_is_looked_at_when_all_is_clear(void **state) {
    (void)state;
    lay_unit *used = NULL;
    lay_diagnosis d;
    const lay_sim_options o = {.seed = 43,
                               .world = LAY_WORLD_QUIET,
                               .tach = true,
                               .rate = 16000,
                               .seconds = 10,
                               .kinds = 1u << LAY_FAULT_NONE};
    simulated_diagnosis(unit, &o, NULL, &d, &used);
    assert_int_equal(d.verdict.outcome, LAY_CLEAR);
    assert_int_equal(d.look.cut_count, 0);
    assert_int_equal(d.look.wheel_count, 0);
    lay_diagnosis_free(&d);
    lay_unit_free(used);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(run_out_names_the_wheel),
        cmocka_unit_test(one_flank_is_told_from_both),
        cmocka_unit_test(conditions_show),
        cmocka_unit_test(what_was_measured_is_handed_on),
        cmocka_unit_test(nothing_is_looked_at_when_all_is_clear),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
