/* What the side view of a unit shows: marks, the flow of torque, words for those who cannot see it. */
#include "report/drawing.h"

#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/unit_text.h"

#include <string.h>

static int count(const char *text, const char *what) {
    int n = 0;
    for (const char *at = text; (at = strstr(at, what)) != NULL; at += strlen(what)) n++;
    return n;
}

static lay_text draw(const lay_unit *unit, const char *gear, const lay_mark *marks, size_t mark_count) {
    lay_text out = {0};
    lay_error err = {0};
    bool drawn = false;
    lay_drawing d = {unit, gear != NULL ? lay_unit_gear(unit, gear) : -1, marks, mark_count, "a <title>", "words"};
    assert_int_equal(lay_drawing_write(&d, &drawn, &out, &err), LAY_OK);
    assert_true(drawn && out.length > 0);
    return out;
}

static const char hatched[] = "fill=\"url(#marked)\"";

static void test_plain(void **state) {
    (void)state;
    lay_text out = draw(fixture_unit, NULL, NULL, 0);
    assert_memory_equal(out.text, "<svg ", 5);
    assert_string_equal(out.text + out.length - 7, "</svg>\n");
    assert_non_null(strstr(out.text, "<title>a &lt;title&gt;</title>"));
    assert_int_equal(count(out.text, hatched), 0);
    assert_int_equal(count(out.text, "<circle"), 0);
    const char *words[] = {">input shaft<", ">mainshaft<", ">countershaft<", ">third pair<",
                           ">headset<",     ">23<",        ">36<",           ">27<",
                           ">29<",          ">engine<",    ">axle<",         ">alternator<"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strstr(out.text, words[i]) == NULL) fail_msg("%s is missing", words[i]);
    lay_text_free(&out);
}

/* A whole pair is hatched on both wheels, one wheel alone, each mark has its badge. */
static void test_marks(void **state) {
    (void)state;
    const lay_mark pair = {"third pair", NULL, 1, true}, wheel = {"third pair", "Third Gear", 1, true};
    const lay_mark three[] = {pair, {"countershaft front", NULL, 2, false}, {"axle", NULL, 3, false}};
    lay_text out = draw(fixture_unit, "3", &pair, 1);
    assert_int_equal(count(out.text, hatched), 2);
    assert_int_equal(count(out.text, "<circle"), 1);
    lay_text_free(&out);
    out = draw(fixture_unit, "3", &wheel, 1);
    assert_int_equal(count(out.text, hatched), 1);
    lay_text_free(&out);
    out = draw(fixture_unit, "3", three, 3);
    assert_int_equal(count(out.text, "<circle"), 3);
    assert_int_equal(count(out.text, hatched), 3);
    lay_text_free(&out);
}

/* In third gear the torque passes both meshes, in direct gear none, in neutral nothing flows at all. */
static void test_flow(void **state) {
    (void)state;
    static const struct {
        const char *gear;
        int wheels;
    } gears[] = {{"3", 4}, {"4", 0}, {"N", 0}};
    for (size_t i = 0; i < 3; i++) {
        lay_text out = draw(fixture_unit, gears[i].gear, NULL, 0);
        assert_int_equal(count(out.text, "fill=\"#c6d6e8\""), gears[i].wheels);
        lay_text_free(&out);
    }
}

/* A planet that also runs in a ring on fixed axes, said on purpose. */
static void test_planet_of_the_case(void **state) {
    (void)state;
    lay_unit *unit =
        unit_of("[unit]\nname = Odd\ndriven by = shaft\noutput = ring\n"
                "[mesh sun]\ndriver = shaft, 24\ndriven = planet, 18\ncarrier = arm\nwheels = 3\n"
                "[mesh ring]\ndriver = planet, 18\ndriven = ring, 60\ncarrier = arm\ninternal = yes\nwheels = 3\n"
                "[mesh odd]\ndriver = planet, 17\ndriven = idler, 20\ncarrier = case\n"
                "[gear 1]\nlock = arm, case\n");
    lay_text out = draw(unit, "1", NULL, 0);
    assert_non_null(strstr(out.text, ">odd"));
    lay_text_free(&out);
    lay_unit_free(unit);
}

static void test_nothing_to_draw(void **state) {
    (void)state;
    lay_unit *unit = unit_of("[unit]\nname = Tube\ndriven by = shaft\noutput = tube\n[gear 1]\nlock = shaft, tube\n");
    lay_text out = {0};
    lay_error err = {0};
    bool drawn = true;
    lay_drawing d = {.unit = unit, .gear = 0, .title = "", .description = ""};
    assert_int_equal(lay_drawing_write(&d, &drawn, &out, &err), LAY_OK);
    assert_false(drawn);
    assert_int_equal(out.length, 0);
    lay_unit_free(unit);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_plain), cmocka_unit_test(test_marks),
                                       cmocka_unit_test(test_flow), cmocka_unit_test(test_planet_of_the_case),
                                       cmocka_unit_test(test_nothing_to_draw)};
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
