/* Hypotheses predict the lines their parts make, in the gears in which they turn. */
#include "judge/hypothesis.h"

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/unit_text.h"

#include <stdlib.h>
#include <string.h>

#define COUNTERSHAFT (23.0 / 36)
#define THIRD_GEAR (17.25 / 29)

static int mesh_index(const lay_unit *u, const char *name) {
    for (int i = 0; i < (int)u->mesh_count; i++)
        if (strcmp(u->meshes[i].name, name) == 0) return i;
    fail_msg("no mesh '%s'", name);
    return -1;
}

static lay_hypothesis of_mesh(const lay_unit *u, lay_kind kind, const char *name, int wheel) {
    return (lay_hypothesis){.kind = kind, .type = LAY_PART_MESH, .index = mesh_index(u, name), .wheel = wheel};
}

static void meshes_predict_harmonics(void **state) {
    (void)state;
    lay_run_evidence run;
    lay_group g[LAY_GROUPS];
    evidence_make(&run, fixture_unit, "3", NULL, 0);
    lay_hypothesis h = of_mesh(fixture_unit, LAY_KIND_MESH, "third pair", -1);
    assert_true(lay_hypothesis_predict(fixture_unit, &h, &run, g));
    for (int k = 1; k <= LAY_GROUPS; k++) assert_close(g[k - 1].order[0], 17.25 * k, 1e-9, 0);
    assert_true(lay_hypothesis_explains(fixture_unit, &h, &run, 34.5));
    assert_true(lay_hypothesis_explains(fixture_unit, &h, &run, 17.25 - 2 * COUNTERSHAFT));
    assert_false(lay_hypothesis_explains(fixture_unit, &h, &run, 20.40));
    run.usable = false;
    assert_false(lay_hypothesis_predict(fixture_unit, &h, &run, g));
    lay_run_evidence_free(&run);
}

static void eccentric_wheels_predict_pairs(void **state) {
    (void)state;
    const double turn[2] = {COUNTERSHAFT, THIRD_GEAR};
    lay_run_evidence run;
    lay_group g[LAY_GROUPS];
    evidence_make(&run, fixture_unit, "3", NULL, 0);
    for (int w = 0; w < 2; w++) {
        lay_hypothesis h = of_mesh(fixture_unit, LAY_KIND_ECCENTRIC, "third pair", w);
        assert_true(lay_hypothesis_predict(fixture_unit, &h, &run, g));
        assert_int_equal(g[0].count, 2);
        assert_close(g[0].order[0], 17.25 - turn[w], 1e-9, 0);
        assert_close(g[0].order[1], 17.25 + turn[w], 1e-9, 0);
        assert_string_equal(fixture_unit->bodies[lay_hypothesis_body(fixture_unit, &h)].name,
                            w ? "third gear" : "countershaft");
    }
    lay_run_evidence_free(&run);
}

static void ghosts_rotors_and_strangers(void **state) {
    (void)state;
    lay_run_evidence run;
    lay_group g[LAY_GROUPS];
    evidence_make(&run, fixture_unit, "3", NULL, 0);
    lay_hypothesis ghost = of_mesh(fixture_unit, LAY_KIND_GHOST, "headset", 1);
    ghost.multiple = 41;
    assert_true(lay_hypothesis_predict(fixture_unit, &ghost, &run, g));
    assert_close(g[0].order[0], 41 * COUNTERSHAFT, 1e-9, 0);
    assert_int_equal(g[1].count, 0);
    lay_hypothesis rotor = {LAY_KIND_OUTSIDE, LAY_PART_ROTOR, 0, -1, 0, 0, false};
    assert_true(lay_hypothesis_predict(fixture_unit, &rotor, &run, g));
    assert_close(g[1].order[0], 6 * 2.7, 1e-9, 0);
    lay_hypothesis stranger = {LAY_KIND_OUTSIDE, LAY_PART_ROTOR, -1, -1, 0, 8.5, true};
    assert_true(lay_hypothesis_predict(fixture_unit, &stranger, &run, g));
    assert_close(g[0].order[0], 8.5 * THIRD_GEAR, 1e-9, 0);
    assert_null(lay_hypothesis_part(fixture_unit, &stranger));
    lay_run_evidence_free(&run);
}

/* In fourth gear input and output are locked: the headset turns still, the axle turns with the input. */
static void other_gears_move_the_orders(void **state) {
    (void)state;
    lay_run_evidence run;
    lay_group g[LAY_GROUPS];
    evidence_make(&run, fixture_unit, "4", NULL, 0);
    lay_hypothesis headset = of_mesh(fixture_unit, LAY_KIND_MESH, "headset", -1);
    lay_hypothesis axle = {LAY_KIND_OUTSIDE, LAY_PART_AXLE, 0, -1, 0, 0, false};
    assert_true(lay_hypothesis_predict(fixture_unit, &headset, &run, g));
    assert_close(g[0].order[0], 23, 1e-9, 0);
    assert_true(lay_hypothesis_predict(fixture_unit, &axle, &run, g));
    assert_close(g[0].order[0], 11, 1e-9, 0);
    lay_run_evidence_free(&run);
    evidence_make(&run, fixture_unit, "N", NULL, 0);
    assert_false(lay_hypothesis_predict(fixture_unit, &axle, &run, g)); /* the output stands */
    lay_run_evidence_free(&run);
}

static void the_two_meshes_of_an_idler_are_the_same(void **state) {
    (void)state;
    lay_unit *box = unit_of("[unit]\nname = Idler box\ndriven by = input shaft\noutput = mainshaft\n"
                            "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                            "[mesh reverse driver]\ndriver = countershaft, 15\ndriven = idler, 20\n"
                            "[mesh reverse driven]\ndriver = idler, 20\ndriven = reverse gear, 35\n"
                            "[gear R]\nlock = reverse gear, mainshaft\n");
    lay_run_evidence run;
    evidence_make(&run, box, "R", NULL, 0);
    lay_hypothesis a = of_mesh(box, LAY_KIND_MESH, "reverse driver", -1),
                   b = of_mesh(box, LAY_KIND_MESH, "reverse driven", -1);
    lay_hypothesis c = of_mesh(box, LAY_KIND_MESH, "headset", -1);
    assert_true(lay_hypotheses_same_lines(box, &a, &b, &run, 1));
    assert_false(lay_hypotheses_same_lines(box, &a, &c, &run, 1));
    lay_run_evidence_free(&run);
    lay_unit_free(box);
}

static void strangers_are_proposed_only_for_strange_lines(void **state) {
    (void)state;
    const made_tone tones[] = {{17.25, 40}, {20.40, 45}};
    for (size_t count = 1; count <= 2; count++) {
        lay_run_evidence run;
        lay_hypothesis_list list;
        evidence_make(&run, fixture_unit, "3", tones, count);
        assert_int_equal(lay_hypotheses_build(fixture_unit, &run, 1, &list, NULL), LAY_OK);
        size_t strangers = 0;
        for (size_t i = 0; i < list.count; i++) strangers += list.items[i].index < 0;
        assert_int_equal(strangers > 0, count == 2);
        free(list.items);
        lay_run_evidence_free(&run);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(meshes_predict_harmonics),
        cmocka_unit_test(eccentric_wheels_predict_pairs),
        cmocka_unit_test(ghosts_rotors_and_strangers),
        cmocka_unit_test(other_gears_move_the_orders),
        cmocka_unit_test(the_two_meshes_of_an_idler_are_the_same),
        cmocka_unit_test(strangers_are_proposed_only_for_strange_lines),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
