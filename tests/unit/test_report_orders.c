/* `layshaft orders`: the numbers of a five-speed worked out by hand, and lines that fit. */
#include <layshaft/report.h>

#include "report/utf8.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

static lay_unit *unit_from(const char *text) {
    lay_unit *unit;
    lay_error err;
    if (lay_unit_parse(text, strlen(text), "unit.ini", &unit, &err) != LAY_OK)
        fail_msg("line %d: %s", err.line, err.message);
    return unit;
}

static lay_text orders_of(const lay_unit *unit, int gear) {
    lay_text out = {0};
    lay_error err;
    assert_int_equal(lay_report_orders_text(unit, gear, 0, false, 80, &out, &err), LAY_OK);
    return out;
}

static void assert_has(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from:\n%s", words, text);
}

static void assert_fits(const char *text) {
    for (const char *line = text; *line;) {
        char copy[1024];
        size_t n = strcspn(line, "\n");
        assert_true(n < sizeof copy);
        memcpy(copy, line, n);
        copy[n] = 0;
        if (lay_utf8_columns(copy) > 80) fail_msg("too wide: %s", copy);
        line += n + 1;
    }
}

/* Tooth counts alone: 36/23 x 29/27 = 1.68116; headset 23; third pair 27 x 23/36 = 17.25; axle 11/1.68116. */
static void test_text(void **state) {
    (void)state;
    lay_unit *unit = unit_from(fixture_unit_text);
    lay_text out = orders_of(unit, -1);
    assert_has(out.text, "Gear 3: ratio 1.6812, output order 0.5948 (mainshaft)\n");
    assert_has(out.text, "  headset              23.0000    1.0000    0.6389   yes\n");
    assert_has(out.text, "  third pair           17.2500    0.6389    0.5948   yes\n");
    assert_has(out.text, "Gear 4: ratio 1.0000");
    assert_has(out.text, "  third pair           17.2500    0.6389    0.5948   no\n");
    assert_has(out.text, "Gear N: no drive, the output (mainshaft) stands still\n");
    assert_has(out.text, "  silent: axle\n");
    assert_fits(out.text);
    lay_text_free(&out);
    out = orders_of(unit, lay_unit_gear(unit, "4"));
    assert_null(strstr(out.text, "Gear 3"));
    lay_text_free(&out);
    lay_unit_free(unit);
}

/* Two meshes of equal tooth counts between the same two shafts cannot be told apart. */
static void test_twins(void **state) {
    (void)state;
    lay_unit *unit = unit_from("[unit]\nname = Twins\ndriven by = in\noutput = out\n"
                               "[mesh left]\ndriver = in, 20\ndriven = out, 30\n"
                               "[mesh right]\ndriver = in, 20\ndriven = out, 30\n"
                               "[gear 1]\n");
    lay_text out = orders_of(unit, -1);
    assert_has(out.text, "  alike: left and right: both sound at order 20.00; their shafts turn alike, so\n         "
                         "nothing in this gear tells");
    lay_text_free(&out);
    lay_unit_free(unit);
}

static void test_long_names(void **state) {
    (void)state;
    char text[4096], name[76];
    memset(name, 'w', sizeof name);
    name[sizeof name - 1] = 0;
    int n = snprintf(
        text, sizeof text,
        "[unit]\nname = %s\ndriven by = in %s\noutput = out %s\n[mesh %s]\ndriver = in %s, 20\ndriven = out %s, 30\n"
        "[gear 1]\n[other %s]\nturns with = in %s\nratio = 2.5\norders = 1,2,3,4,5,6,7,8,9,10,11,12,13,14\n",
        name, name, name, name, name, name, name, name);
    assert_true(n > 0 && (size_t)n < sizeof text);
    lay_unit *unit = unit_from(text);
    lay_text out = orders_of(unit, -1);
    assert_fits(out.text);
    lay_text_free(&out);
    lay_unit_free(unit);
}

static void test_json(void **state) {
    (void)state;
    lay_unit *unit = unit_from(fixture_unit_text);
    lay_text out = {0};
    lay_error err;
    assert_int_equal(lay_report_orders_json(unit, -1, 0, false, &out, &err), LAY_OK);
    json_t *root = json_loads(out.text, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    const json_t *gears = json_object_get(root, "gears"), *third = json_array_get(gears, 0);
    assert_int_equal(json_array_size(gears), 3);
    assert_close(json_number_value(json_object_get(third, "ratio")), 36.0 * 29.0 / (23.0 * 27.0), 1e-6, 0);
    const json_t *part = json_array_get(json_object_get(third, "parts"), 1);
    assert_string_equal(json_string_value(json_object_get(part, "part")), "third pair");
    assert_close(json_number_value(json_object_get(part, "order")), 17.25, 1e-6, 0);
    json_decref(root);
    lay_text_free(&out);
    lay_unit_free(unit);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_text),
        cmocka_unit_test(test_twins),
        cmocka_unit_test(test_long_names),
        cmocka_unit_test(test_json),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
