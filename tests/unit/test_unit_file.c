/* The file format, sources outside the transmission, and which parts sound alike. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "support/close.h"
#include "support/unit_text.h"

static const char spelled_freely[] =
    "\xEF\xBB\xBF# a comment\r\n[UNIT]\r\n\tName =   My   box ; another\r\nDriven  By=Input Shaft\r\noutput =MAIN\r\n"
    "[Mesh  the pair]\r\nDRIVER = input  shaft,20#comment\r\ndriven=Main , 41;comment\r\n[gear 1]; [x]\r\n"
    "[ENGINE]\r\ncylinders = 6\r\n[other pump]\r\nturns with = main\r\nratio = 1.5\r\norders = 1, 6 ,12\r\n";

static void free_spelling(void **state) {
    (void)state;
    lay_unit *u = unit_of(spelled_freely);
    assert_string_equal(u->name, "My box");
    assert_string_equal(u->meshes[0].name, "the pair");
    assert_int_equal(u->meshes[0].line, 6);
    assert_int_equal(u->body_count, 3);
    assert_int_equal(lay_unit_body(u, "input shaft"), u->reference);
    assert_int_equal(lay_unit_body(u, "Case"), LAY_CASE);
    assert_int_equal(lay_unit_body(u, "nothing"), -1);
    assert_int_equal(lay_unit_gear(u, "2"), -1);
    assert_int_equal(u->rotors[0].order_count, 3);
    assert_close(u->rotors[0].orders[2], 12, 0, 0);
    lay_unit_free(u);
}

static void sources_outside(void **state) {
    (void)state;
    lay_unit *u = unit_of(spelled_freely);
    lay_kinematics k = gear_of(u, "1");
    lay_expected engine = part_of(u, &k, LAY_PART_ENGINE, "engine"), pump = part_of(u, &k, LAY_PART_ROTOR, "pump");
    assert_close(engine.order, 3, 1e-12, 0); /* six cylinders, four strokes: three firings per turn */
    assert_close(engine.cycle_order, 0.5, 1e-12, 0);
    assert_close(pump.order, 1.5 * 20 / 41, 1e-12, 0);
    assert_int_equal(pump.multiple_count, 3);
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

static const char place_text[] = "[unit]\ndriven by = input shaft\noutput = mainshaft\n"
                                 "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                                 "[mesh third]\ndriver = countershft, 27\ndriven = third gear, 29\n"
                                 "[gear 3]\nlock = third gear, mainshaft\n";

static void errors_point_at_the_word(void **state) {
    (void)state;
    lay_unit *u = NULL;
    lay_error err = {0};
    assert_int_equal(lay_unit_parse(place_text, strlen(place_text), "unit.ini", &u, &err), LAY_BAD_INPUT);
    assert_null(u);
    assert_string_equal(err.file, "unit.ini");
    assert_int_equal(err.line, 8);
    assert_int_equal(err.column, 10);
    assert_int_equal(err.span, 11);
    assert_string_equal(err.excerpt, "driver = countershft, 27");
    assert_string_equal(err.message, "no body called 'countershft' (did you mean 'countershaft'?)");
    assert_int_equal(lay_unit_parse(place_text, strlen(place_text), "unit.ini", &u, NULL), LAY_BAD_INPUT);
}

static void locked_up_gears_point_at_the_lock(void **state) {
    (void)state;
    static const char text[] = "[unit]\ndriven by = a\noutput = m\n[mesh x]\ndriver = a, 20\ndriven = l, 41\n"
                               "[mesh y]\ndriver = l, 21\ndriven = w, 37\n[gear 1]\nlock = w, m\nlock = a, m\n";
    lay_unit *u = NULL;
    lay_error err = {0};
    assert_int_equal(lay_unit_parse(text, strlen(text), "unit.ini", &u, &err), LAY_BAD_INPUT);
    assert_int_equal(err.line, 12);
    assert_int_equal(err.column, 8);
    assert_non_null(strstr(err.message, "'w' with 'm' and 'a' with 'm'"));
}

static void missing_file_is_an_io_error(void **state) {
    (void)state;
    lay_unit *u = NULL;
    lay_error err = {0};
    assert_int_equal(lay_unit_load("/nonexistent/unit.ini", &u, &err), LAY_BAD_INPUT);
    assert_null(u);
}

static void example_units_read_and_write(void **state) {
    (void)state;
    const char *root = getenv("LAYSHAFT_SOURCE");
    static const char *const names[] = {"five-speed.ini", "transaxle.ini", "four-speed-overdrive.ini"};
    for (size_t i = 0; i < 3; i++) {
        lay_error err = {0};
        lay_text path = {0}, first = {0}, second = {0};
        lay_unit *u = NULL;
        lay_text_add(&path, "%s/recordings/units/%s", root ? root : ".", names[i]);
        assert_int_equal(lay_unit_load(path.text, &u, &err), LAY_OK);
        lay_unit_write(u, &first);
        lay_unit *again = unit_of(first.text);
        lay_unit_write(again, &second);
        assert_string_equal(first.text, second.text);
        lay_unit_free(u);
        lay_unit_free(again);
        lay_text_free(&path);
        lay_text_free(&first);
        lay_text_free(&second);
    }
}

/* Both meshes of a reverse idler run at one order; only the shafts' sidebands differ. Two equal bearings on one shaft
 * differ in nothing. Two bearings whose BPFO differ by 0.35 % (the 6205 of 39.04 mm pitch and the ER-16K of 38.50 mm,
 * often mixed up in public notes) are nearer than their own tolerance. */
static void which_parts_sound_alike(void **state) {
    (void)state;
    lay_unit *u = unit_of("[unit]\ndriven by = a\noutput = c\n[mesh x]\ndriver = a, 20\ndriven = i, 23\n[mesh "
                          "y]\ndriver = i, 23\ndriven = c, 37\n"
                          "[gear 1]\n"
                          "[bearing p]\ninner = a\nouter = case\nrolling elements = 9\nelement diameter = 7.94 "
                          "mm\npitch diameter = 39.04 mm\n"
                          "[bearing q]\ninner = a\nouter = case\nrolling elements = 9\nelement diameter = 7.9375 "
                          "mm\npitch diameter = 38.5 mm\n"
                          "[bearing r]\ninner = c\nouter = case\nrolling elements = 9\nelement diameter = 7.94 "
                          "mm\npitch diameter = 39.04 mm\n"
                          "[other fan]\nturns with = a\norders = 1, 20\n");
    lay_kinematics k = gear_of(u, "1");
    lay_expected x = part_of(u, &k, LAY_PART_MESH, "x"), y = part_of(u, &k, LAY_PART_MESH, "y");
    lay_expected p = part_of(u, &k, LAY_PART_BEARING, "p"), q = part_of(u, &k, LAY_PART_BEARING, "q");
    lay_expected r = part_of(u, &k, LAY_PART_BEARING, "r"), fan = part_of(u, &k, LAY_PART_ROTOR, "fan");
    bool by_sidebands = false;
    assert_true(lay_expected_same(&x, &y, 0.01, &by_sidebands));
    assert_true(by_sidebands);
    assert_true(lay_expected_same(&p, &q, 0.01, &by_sidebands));
    assert_false(by_sidebands);
    assert_false(lay_expected_same(&p, &r, 0.01, &by_sidebands));
    assert_false(lay_expected_same(&x, &p, 0.01, NULL));
    assert_true(lay_expected_same(&x, &fan, 0.01, NULL));
    lay_kinematics_free(&k);
    lay_unit_free(u);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(free_spelling),
        cmocka_unit_test(sources_outside),
        cmocka_unit_test(errors_point_at_the_word),
        cmocka_unit_test(locked_up_gears_point_at_the_lock),
        cmocka_unit_test(missing_file_is_an_io_error),
        cmocka_unit_test(example_units_read_and_write),
        cmocka_unit_test(which_parts_sound_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
