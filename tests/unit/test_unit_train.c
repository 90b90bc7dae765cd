/* Gear trains against published ones, and the rules of gears and loads. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "support/close.h"
#include "support/unit_text.h"

#define EXACT 1e-12
#define PRINTED 6e-6 /* sources print five decimals */

/* A conventional automobile gear box, worked example of a textbook on gear trains (expertsmind.com, pages 98766,
 * 98767, 98769): 4.0, 1.333 and reverse 4.222 with these teeth; second gear (28/32) by the same procedure. */
static const char textbook[] = "[unit]\nname = textbook\ndriven by = input\noutput = main\n"
                               "[mesh constant]\ndriver = input, 20\ndriven = lay, 40\n"
                               "[mesh first]\ndriver = lay, 20\ndriven = w1, 40\n"
                               "[mesh second]\ndriver = lay, 28\ndriven = w2, 32\n"
                               "[mesh third]\ndriver = lay, 36\ndriven = w3, 24\n"
                               "[mesh reverse lay]\ndriver = lay, 18\ndriven = idler, 20\n"
                               "[mesh reverse main]\ndriver = idler, 20\ndriven = wr, 38\n"
                               "[gear 1]\nlock = w1, main\n[gear 2]\nlock = w2, main\n[gear 3]\nlock = w3, main\n"
                               "[gear 4]\nlock = input, main\n[gear R]\nlock = wr, main\n[gear N]\nlock = main, case\n"
                               "[axle]\npinion = 11\nring = 41\n";

static void textbook_four_speed(void **state) {
    (void)state;
    static const struct {
        const char *gear, *pair;
        double ratio, order, output, repeat;
        int phases;
    } rows[] = {{"1", "first", 4.0, 10.0, 0.25, 0.25, 20},
                {"2", "second", 2.285714, 14.0, 0.4375, 0.0625, 4},
                {"3", "third", 1.333333, 18.0, 0.75, 0.25, 12},
                {"R", "reverse main", -4.222222, 9.0, 0.236842, 0, 2}};
    lay_unit *u = unit_of(textbook);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        lay_kinematics k = gear_of(u, rows[i].gear);
        assert_close(lay_unit_ratio(u, &k), rows[i].ratio, PRINTED, 0);
        assert_close(speed_of(u, &k, "lay"), -0.5, EXACT, 0);
        assert_close(speed_of(u, &k, "main"), rows[i].ratio > 0 ? rows[i].output : -rows[i].output, PRINTED, 0);
        lay_expected pair = part_of(u, &k, LAY_PART_MESH, rows[i].pair);
        assert_close(pair.order, rows[i].order, EXACT, 0);
        if (rows[i].repeat > 0) assert_close(pair.hunting_order, rows[i].repeat, EXACT, 0);
        assert_int_equal(pair.assembly_phases, rows[i].phases);
        assert_true(pair.loaded);
        lay_expected constant = part_of(u, &k, LAY_PART_MESH, "constant");
        assert_close(constant.order, 20, EXACT, 0);
        assert_close(constant.hunting_order, 0.5, EXACT, 0);
        assert_true(constant.loaded);
        lay_kinematics_free(&k);
    }
    lay_unit_free(u);
}

/* The same source with an 11/41 final drive in first: 0.25, 2.75, 0.06707. */
static void textbook_final_drive(void **state) {
    (void)state;
    lay_unit *u = unit_of(textbook);
    lay_kinematics k = gear_of(u, "1");
    lay_expected axle = part_of(u, &k, LAY_PART_AXLE, "axle");
    assert_close(axle.order, 2.75, EXACT, 0);
    assert_close(axle.wheel_order[0], 0.25, EXACT, 0);
    assert_close(axle.wheel_order[1], 0.06707, PRINTED, 0);
    assert_true(axle.loaded);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

/* Direct drive unloads every pair, so its whine drops out (common practice, no source). */
static void direct_drive_and_neutral_load_no_mesh(void **state) {
    (void)state;
    lay_unit *u = unit_of(textbook);
    const char *const gears[] = {"4", "N"};
    for (int g = 0; g < 2; g++) {
        lay_kinematics k = gear_of(u, gears[g]);
        for (size_t m = 0; m < k.mesh_count; m++) assert_false(k.loaded[m]);
        assert_true(part_of(u, &k, LAY_PART_MESH, "constant").turning);
        assert_close(k.mesh_order[0], 20, EXACT, 0);
        lay_kinematics_free(&k);
    }
    lay_kinematics k = gear_of(u, "N");
    assert_close(lay_unit_ratio(u, &k), 0, 0, 0);
    assert_false(part_of(u, &k, LAY_PART_AXLE, "axle").turning);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

static void only_the_engaged_pair_is_loaded(void **state) {
    (void)state;
    lay_unit *u = unit_of(textbook);
    lay_kinematics k = gear_of(u, "R");
    const bool expected[] = {true, false, false, false, true, true};
    for (size_t m = 0; m < 6; m++) assert_int_equal(k.loaded[m], expected[m]);
    /* an idler changes the sign only: both its meshes run at one order */
    assert_close(k.mesh_order[4], k.mesh_order[5], 0, 0);
    assert_true(k.carries[lay_unit_body(u, "idler")]);
    assert_false(k.carries[lay_unit_body(u, "w1")]);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

/* Two-shaft transaxle, a maker's own service information on ratio calculation: 5th 39 -> 29, final drive 18 -> 61,
 * printed 0.744 and 3.389; exact total 2.519943, not the product 2.521 of the rounded factors. */
static void transaxle(void **state) {
    (void)state;
    lay_unit *u =
        unit_of("[unit]\ndriven by = input\noutput = diff\n[mesh fifth]\ndriver = wheel, 39\ndriven = pinion, 29\n"
                "[mesh final]\ndriver = pinion, 18\ndriven = diff, 61\n[gear 5]\nlock = wheel, input\n");
    lay_kinematics k = gear_of(u, "5");
    assert_close(lay_unit_ratio(u, &k), 2.519943, 5e-7, 0);
    assert_close(1 / -speed_of(u, &k, "pinion"), 0.744, 5e-4, 0);
    lay_expected fifth = part_of(u, &k, LAY_PART_MESH, "fifth"), final = part_of(u, &k, LAY_PART_MESH, "final");
    assert_close(fifth.order, 39, EXACT, 0);
    assert_close(final.order, 24.2069, 5e-5, 0);
    assert_close(fifth.hunting_order, 0.034483, 5e-7, 0);
    assert_close(final.hunting_order, 0.022046, 5e-7, 0);
    assert_close(final.wheel_order[1], 0.396834, 5e-7, 0);
    assert_int_equal(fifth.assembly_phases, 1);
    assert_int_equal(k.speed[lay_unit_body(u, "diff")].num, 702);
    assert_int_equal(k.speed[lay_unit_body(u, "diff")].den, 1769);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

/* University gear-fault rig, 32/80 then 48/64 (Connecticut data set, read through a public description of it). */
static void gear_rig_without_output(void **state) {
    (void)state;
    lay_unit *u = unit_of("[unit]\ndriven by = a\n[mesh one]\ndriver = a, 32\ndriven = b, 80\n"
                          "[mesh two]\ndriver = b, 48\ndriven = c, 64\n[gear 1]\n");
    lay_kinematics k = gear_of(u, "1");
    assert_close(speed_of(u, &k, "b"), -0.4, EXACT, 0);
    assert_close(speed_of(u, &k, "c"), 0.3, EXACT, 0);
    lay_expected one = part_of(u, &k, LAY_PART_MESH, "one"), two = part_of(u, &k, LAY_PART_MESH, "two");
    assert_close(one.order, 32, EXACT, 0);
    assert_close(two.order, 19.2, EXACT, 0);
    assert_int_equal(one.assembly_phases, 16);
    assert_int_equal(two.assembly_phases, 16);
    assert_close(one.hunting_order, 0.2, EXACT, 0);
    assert_close(two.hunting_order, 0.1, EXACT, 0);
    assert_true(one.loaded && two.loaded);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

/* Wind-turbine gearbox of NREL/TP-5000-54530 (tooth counts: value from memory of the report): 5.71429 x 3.56522 x 4
 * = 81.4907, here driven from the generator side. Planetary formula of Randall, Vibration-based Condition
 * Monitoring (value from memory of the work): ring fixed, carrier 0.175 and mesh order 17.325 per turn of the sun. */
static void planetary_with_fixed_ring(void **state) {
    (void)state;
    lay_unit *u =
        unit_of("[unit]\ndriven by = rotor\noutput = generator\n"
                "[mesh ring]\ndriver = planet, 39\ndriven = ring, 99\ncarrier = rotor\ninternal = yes\nwheels = 3\n"
                "[mesh sun]\ndriver = planet, 39\ndriven = sun, 21\ncarrier = rotor\nwheels = 3\n"
                "[mesh intermediate]\ndriver = sun, 82\ndriven = mid, 23\n[mesh fast]\ndriver = mid, 88\ndriven = "
                "generator, 22\n"
                "[gear 1]\nlock = ring, case\n");
    lay_kinematics k = gear_of(u, "1");
    assert_close(1 / lay_unit_ratio(u, &k), 81.4907, 5e-5, 0);
    double sun = speed_of(u, &k, "sun");
    assert_close(1 / sun, 0.175, EXACT, 0);
    assert_close(part_of(u, &k, LAY_PART_MESH, "ring").order / sun, 17.325, 1e-9, 0);
    assert_close(part_of(u, &k, LAY_PART_MESH, "sun").order / sun, 17.325, 1e-9, 0);
    for (size_t m = 0; m < k.mesh_count; m++) assert_true(k.loaded[m]);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

/* By Willis' equation for sun 30, ring 66 (derived here): sun held, carrier in -> ring 1 + 30/66; locked up: no mesh
 * order at all. */
static void epicyclic_overdrive(void **state) {
    (void)state;
    lay_unit *u =
        unit_of("[unit]\ndriven by = carrier\noutput = ring\n"
                "[mesh sun]\ndriver = sun, 30\ndriven = planet, 18\ncarrier = carrier\n"
                "[mesh ring]\ndriver = planet, 18\ndriven = ring, 66\ncarrier = carrier\ninternal = yes\nwheels = 3\n"
                "[gear direct]\nlock = sun, carrier\n[gear over]\nlock = sun, case\n");
    lay_kinematics k = gear_of(u, "over");
    assert_close(speed_of(u, &k, "ring"), 96.0 / 66, EXACT, 0);
    assert_close(part_of(u, &k, LAY_PART_MESH, "sun").order, 30, EXACT, 0);
    assert_close(part_of(u, &k, LAY_PART_MESH, "ring").wheel_order[1], 30.0 / 66, EXACT, 0);
    assert_true(k.loaded[0] && k.loaded[1]);
    lay_kinematics_free(&k);
    k = gear_of(u, "direct");
    assert_close(k.mesh_order[0], 0, 0, 0);
    assert_false(part_of(u, &k, LAY_PART_MESH, "ring").turning);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

/* Two countershafts side by side: statics alone cannot share the torque, both must count as loaded. */
static void twin_countershafts_share_the_load(void **state) {
    (void)state;
    lay_unit *u =
        unit_of("[unit]\ndriven by = input\noutput = main\n[mesh a1]\ndriver = input, 31\ndriven = left shaft, 47\n"
                "[mesh a2]\ndriver = input, 31\ndriven = right shaft, 47\n"
                "[mesh b1]\ndriver = left shaft, 25\ndriven = main, 52\n"
                "[mesh b2]\ndriver = right shaft, 25\ndriven = main, 52\n"
                "[mesh c1]\ndriver = left shaft, 29\ndriven = idle, 50\n"
                "[mesh c2]\ndriver = right shaft, 29\ndriven = idle, 50\n[gear 1]\n");
    lay_kinematics k = gear_of(u, "1");
    const bool loaded[] = {true, true, true, true};
    for (size_t m = 0; m < 4; m++) assert_int_equal(k.loaded[m], loaded[m]);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

static void neutral_may_leave_the_output_free(void **state) {
    (void)state;
    lay_unit *u = unit_of("[unit]\ndriven by = input\noutput = main\n[mesh a]\ndriver = input, 20\ndriven = wheel, 41\n"
                          "[gear 1]\nlock = wheel, main\n[gear N]\n");
    lay_kinematics k = gear_of(u, "n");
    assert_true(k.free_body[lay_unit_body(u, "MAIN")]);
    assert_false(k.free_body[lay_unit_body(u, "wheel")]);
    assert_close(lay_unit_ratio(u, &k), 0, 0, 0);
    assert_false(k.loaded[0]);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

static void wrong_gear_numbers_are_refused(void **state) {
    (void)state;
    lay_unit *u = unit_of(textbook);
    lay_kinematics k;
    lay_error err = {0};
    assert_int_equal(lay_unit_solve(u, -1, &k, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_unit_solve(u, 99, &k, NULL), LAY_BAD_INPUT);
    lay_kinematics_free(&k);
    lay_unit_free(u);
    lay_unit_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(textbook_four_speed),
        cmocka_unit_test(textbook_final_drive),
        cmocka_unit_test(direct_drive_and_neutral_load_no_mesh),
        cmocka_unit_test(only_the_engaged_pair_is_loaded),
        cmocka_unit_test(transaxle),
        cmocka_unit_test(gear_rig_without_output),
        cmocka_unit_test(planetary_with_fixed_ring),
        cmocka_unit_test(epicyclic_overdrive),
        cmocka_unit_test(twin_countershafts_share_the_load),
        cmocka_unit_test(neutral_may_leave_the_output_free),
        cmocka_unit_test(wrong_gear_numbers_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
