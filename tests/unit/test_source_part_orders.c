/* What a part can be heard at in a run: its own lines, no one else's, and who else makes them. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/unit_text.h"

#include <math.h>
#include <string.h>

/* The fixture's third gear: countershaft at 23/36, third gear and mainshaft at 17.25/29, firing order 3. */
#define COUNTERSHAFT (23.0 / 36)
#define MAINSHAFT (17.25 / 29)

static const made_tone sound[] = {
    {3, 40},
    {6, 40},
    {9, 35},
    {12, 30},
    {17.25, 40},
    {17.25 + COUNTERSHAFT, 25},
    {17.25 - MAINSHAFT, 25},
    {31 * COUNTERSHAFT, 25}, /* a ghost: 31 waves on some wheel of the countershaft */
    {23, 25},
    {69, 25}, /* third harmonic of the headset, fourth of the third pair */
};

static lay_run_evidence run;

static int setup(void **state) {
    fixture_unit_make(state);
    evidence_make(&run, fixture_unit, "3", sound, sizeof sound / sizeof sound[0]);
    return 0;
}

static int teardown(void **state) {
    lay_run_evidence_free(&run);
    return fixture_unit_free(state);
}

static lay_part_orders orders_of(const char *name) {
    lay_part_orders out;
    lay_error err = {0};
    if (lay_run_part_orders(fixture_unit, &run, name, &out, &err) != LAY_OK) fail_msg("%s: %s", name, err.message);
    return out;
}

static const lay_part_order *at(const lay_part_orders *orders, double order) {
    for (size_t i = 0; i < orders->count; i++)
        if (fabs(orders->items[i].order - order) < 1e-6) return &orders->items[i];
    return NULL;
}

static void a_mesh_has_harmonics_and_its_wheels_sidebands(void **state) {
    (void)state;
    lay_part_orders o = orders_of("Third Pair");
    assert_string_equal(o.part->name, "third pair");
    assert_close(o.items[0].order, 17.25, 1e-9, 0); /* the strongest first */
    for (int k = 1; k <= 5; k++) assert_non_null(at(&o, k * 17.25));
    const lay_part_order *plus = at(&o, 17.25 + COUNTERSHAFT), *minus = at(&o, 17.25 - MAINSHAFT);
    assert_non_null(plus);
    assert_non_null(minus);
    assert_int_equal(plus->sideband, 1);
    assert_string_equal(fixture_unit->bodies[plus->body].name, "countershaft");
    assert_int_equal(minus->sideband, -1);
    assert_null(at(&o, 17.25 - COUNTERSHAFT)); /* nothing stands there */
    assert_null(at(&o, 23));
}

/* Nobody knows which of its wheels has the waves. */
static void a_ghost_is_its_bodys(void **state) {
    (void)state;
    double ghost = 31 * COUNTERSHAFT;
    lay_part_orders headset = orders_of("headset"), pair = orders_of("third pair"), shaft = orders_of("countershaft");
    assert_null(at(&headset, ghost));
    assert_null(at(&pair, ghost));
    assert_non_null(at(&shaft, ghost));
    assert_null(shaft.part);
    assert_string_equal(fixture_unit->bodies[shaft.body].name, "countershaft");
}

/* The third gear is locked to the mainshaft: a sideband of one is one of the other. */
static void bodies_that_turn_as_one_sound_alike(void **state) {
    (void)state;
    lay_part_orders gear = orders_of("third gear"), shaft = orders_of("mainshaft");
    assert_int_equal(gear.count, shaft.count);
    for (size_t i = 0; i < gear.count; i++) assert_close(gear.items[i].order, shaft.items[i].order, 0, 0);
    assert_non_null(at(&shaft, 17.25 - MAINSHAFT));
    assert_non_null(at(&shaft, MAINSHAFT));
    assert_null(at(&shaft, 17.25 + COUNTERSHAFT));
}

static void who_else_is_there_is_named_where_something_stands(void **state) {
    (void)state;
    lay_part_orders headset = orders_of("headset"), pair = orders_of("third pair");
    assert_non_null(at(&headset, 69)->shared);
    assert_string_equal(at(&headset, 69)->shared, "third pair");
    assert_non_null(at(&pair, 69)->shared);
    assert_null(at(&pair, 17.25)->shared);
    assert_null(at(&headset, 46)->shared); /* the engine has an order there, and nothing stands there */
    assert_null(at(&headset, 23)->shared); /* a whole order of the engine, whose orders around are silent */
}

static void engine_and_rotor_have_their_own(void **state) {
    (void)state;
    lay_part_orders engine = orders_of("engine"), alternator = orders_of("alternator");
    for (int k = 1; k <= 6; k++) assert_non_null(at(&engine, 3 * k));
    assert_null(at(&engine, 17.25));
    assert_int_equal(alternator.count, 2);
    assert_non_null(at(&alternator, 2.7));
    assert_non_null(at(&alternator, 16.2));
}

/* A mainshaft whose third multiple lies 0.0035 below the engine's firing order, closer than any filter tells apart:
 * what stands there is the engine's. */
static void what_lies_on_anothers_order_is_left_to_it(void **state) {
    (void)state;
    static const char text[] = "[unit]\nname = U\ndriven by = input shaft\noutput = mainshaft\n"
                               "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                               "[mesh third pair]\ndriver = countershaft, 25\ndriven = third gear, 24\n"
                               "[gear 3]\nlock = third gear, mainshaft\n"
                               "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n";
    const made_tone tones[] = {{2, 40}, {4, 40}, {6, 35}, {8, 30}, {25 * COUNTERSHAFT, 30}};
    const double turn = 25 * COUNTERSHAFT / 24;
    lay_unit *unit = unit_of(text);
    lay_run_evidence r;
    lay_part_orders o;
    evidence_make(&r, unit, "3", tones, 5);
    assert_int_equal(lay_run_part_orders(unit, &r, "mainshaft", &o, NULL), LAY_OK);
    assert_non_null(at(&o, turn));
    assert_non_null(at(&o, 2 * turn));
    assert_null(at(&o, 3 * turn));
    lay_run_evidence_free(&r);
    lay_unit_free(unit);
}

static void refused(const lay_run_evidence *r, const char *name, const char *words) {
    lay_part_orders o;
    lay_error err = {0};
    assert_int_equal(lay_run_part_orders(fixture_unit, r, name, &o, &err), LAY_BAD_INPUT);
    if (!strstr(err.message, words)) fail_msg("'%s' is not in: %s", words, err.message);
}

static void what_has_no_orders_is_said(void **state) {
    (void)state;
    refused(&run, "thrd pair", "did you mean 'third pair'");
    refused(&run, "countershft", "did you mean 'countershaft'");
    refused(&run, "countershaft front", "it strikes");
    refused(&run, "case", "the case does not turn");
    const lay_run_evidence unusable = {.usable = false};
    refused(&unusable, "third pair", "speed of this run is not known");
    lay_run_evidence neutral;
    evidence_make(&neutral, fixture_unit, "N", NULL, 0);
    refused(&neutral, "mainshaft", "does not turn in the gear of this run");
    lay_run_evidence_free(&neutral);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_mesh_has_harmonics_and_its_wheels_sidebands),
        cmocka_unit_test(a_ghost_is_its_bodys),
        cmocka_unit_test(bodies_that_turn_as_one_sound_alike),
        cmocka_unit_test(who_else_is_there_is_named_where_something_stands),
        cmocka_unit_test(engine_and_rotor_have_their_own),
        cmocka_unit_test(what_lies_on_anothers_order_is_left_to_it),
        cmocka_unit_test(what_has_no_orders_is_said),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
