/* Tyres: sizes as on the sidewall, rolling circumference, and from road speed to the speed of the reference. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/unit_text.h"

#include <layshaft/unit.h>
#include <stdlib.h>

/* Reduction 36/23 x 29/27 in third gear, direct in fourth. */
static const char box[] = "[unit]\ndriven by = input shaft\noutput = mainshaft\n"
                          "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                          "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"
                          "[gear 3]\nlock = third gear, mainshaft\n[gear 4]\nlock = input shaft, mainshaft\n"
                          "[gear N]\n";

static lay_unit *with_axle(const char *axle) {
    lay_text text = {0};
    lay_text_add(&text, "%s%s", box, axle);
    lay_unit *unit = unit_of(text.text);
    lay_text_free(&text);
    return unit;
}

static double rolling(const char *line) {
    lay_text text = {0};
    lay_text_add(&text, "[axle]\npinion = 11\nring = 41\n%s\n", line);
    lay_unit *unit = with_axle(text.text);
    double found = unit->axle.rolling_m;
    lay_text_free(&text);
    lay_unit_free(unit);
    return found;
}

/* The same as 3.05 x outer diameter, the factor for radial tyres in the ETRTO Standards Manual (value from memory of
 * the manual): 205/55 R16 is 631.9 mm, 195/65 R15 634.5 mm, 31 in off-road sizes 265/70 R16 777.4 mm. */
static void sizes(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double diameter_mm;
    } cases[] = {
        {"tyre = 205/55 R16", 631.9},    {"Tyre = 205/55R16 91V", 631.9},
        {"tyre = 195/65 R 15", 634.5},   {"tyre=195 / 65 r15 91T XL", 634.5},
        {"tyre = P265/70R16", 777.4},    {"tyre = LT265/70R16 ; front too", 777.4},
        {"tyre = 225/40 ZR18", 637.2},   {"tyre = 155/80-13", 578.2},
        {"tyre = 315/80 R22.5", 1075.5}, {"tyre = 195/70 R15C 104/102R", 654},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_close(rolling(cases[i].text), 3.05e-3 * cases[i].diameter_mm, 0, 2e-3);
}

static void circumferences(void **state) {
    (void)state;
    assert_close(rolling("rolling circumference = 1.95 m"), 1.95, 1e-12, 0);
    assert_close(rolling("Rolling Circumference = 1950 mm"), 1.95, 1e-12, 0);
    assert_close(rolling("rolling circumference = 75 in"), 1.905, 1e-12, 0);
    assert_close(rolling("rolling circumference = 1.95"), 1.95, 1e-12, 0);
    assert_close(rolling(""), 0, 0, 0);
}

static double hz_in(const lay_unit *unit, const char *gear, double ms) {
    lay_kinematics k = gear_of(unit, gear);
    double hz = lay_unit_reference_hz(unit, &k, ms);
    lay_kinematics_free(&k);
    return hz;
}

/* By hand: 20 m/s over 2 m are 10 turns of the wheel per second, x 41/11 at the pinion, x ratio at the input. */
static void reference_speed(void **state) {
    (void)state;
    lay_unit *unit = with_axle("[axle]\npinion = 11\nring = 41\nrolling circumference = 2 m\n");
    double pinion = 20.0 / 2 * 41 / 11;
    assert_close(hz_in(unit, "4", 20), pinion, 0, 1e-12);
    assert_close(hz_in(unit, "3", 20), pinion * 36 / 23 * 29 / 27, 0, 1e-12);
    assert_close(hz_in(unit, "N", 20), 0, 0, 0); /* the output turns freely */
    assert_close(hz_in(unit, "4", 0), 0, 0, 0);
    assert_close(hz_in(unit, "4", -3), 0, 0, 0);
    lay_unit_free(unit);
    unit = with_axle("[axle]\npinion = 11\nring = 41\n");
    assert_close(hz_in(unit, "4", 20), 0, 0, 0);
    lay_unit_free(unit);
    unit = with_axle("");
    assert_close(hz_in(unit, "4", 20), 0, 0, 0);
    lay_unit_free(unit);
}

/* A transaxle has its final drive among the meshes: the tyre stands alone, and no axle is listed as a source of noise.
 */
static void tyre_without_pinion(void **state) {
    (void)state;
    lay_unit *unit = unit_of("[unit]\ndriven by = input\noutput = diff\n[mesh fifth]\ndriver = wheel, 39\n"
                             "driven = pinion, 29\n[mesh final]\ndriver = pinion, 18\ndriven = diff, 61\n"
                             "[gear 5]\nlock = wheel, input\n[axle]\ntyre = 195/65 R15\n");
    assert_false(unit->axle.present);
    double wheels = 30 / (3.05e-3 * 634.5);
    assert_close(hz_in(unit, "5", 30), wheels * 61 / 18 * 29 / 39, 0, 2e-3);
    lay_kinematics k = gear_of(unit, "5");
    lay_expected *parts;
    size_t count;
    assert_int_equal(lay_unit_expect(unit, &k, &parts, &count, NULL), LAY_OK);
    assert_int_equal(count, 2);
    free(parts);
    lay_kinematics_free(&k);
    lay_unit_free(unit);
}

static void written_and_read_again(void **state) {
    (void)state;
    static const char *const axles[] = {"[axle]\npinion = 11\nring = 41\ntyre = 205/55 R16\n",
                                        "[axle]\nturns with = countershaft\nrolling circumference = 1.9 m\n"};
    for (int i = 0; i < 2; i++) {
        lay_unit *unit = with_axle(axles[i]);
        lay_text text = {0};
        lay_unit_write(unit, &text);
        lay_unit *again = unit_of(text.text);
        assert_close(again->axle.rolling_m, unit->axle.rolling_m, 0, 0);
        assert_int_equal(again->axle.present, unit->axle.present);
        assert_int_equal(again->axle.pinion, unit->axle.pinion);
        assert_int_equal(again->axle.body, unit->axle.body);
        lay_text_free(&text);
        lay_unit_free(unit);
        lay_unit_free(again);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sizes),
        cmocka_unit_test(circumferences),
        cmocka_unit_test(reference_speed),
        cmocka_unit_test(tyre_without_pinion),
        cmocka_unit_test(written_and_read_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
