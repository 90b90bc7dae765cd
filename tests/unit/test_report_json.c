/* The object of `diagnose --json`, read back by a parser that is not ours. */
#include <layshaft/report.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <jansson.h>
#include <locale.h>
#include <math.h>
#include <string.h>

/* The parsed object; json_decref it. */
static json_t *object_of(const fixture *f, bool indented) {
    lay_text out = {0};
    json_error_t error;
    assert_int_equal(lay_report_json(f->unit, &f->table, &f->diagnosis, indented, &out), LAY_OK);
    json_t *root = json_loads(out.text, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL) fail_msg("line %d: %s\n%s", error.line, error.text, out.text);
    if (!indented) assert_ptr_equal(strchr(out.text, '\n'), out.text + out.length - 1);
    lay_text_free(&out);
    return root;
}

static const char *text(const json_t *object, const char *member) {
    const char *value = json_string_value(json_object_get(object, member));
    if (value == NULL) fail_msg("no text member %s", member);
    return value;
}

static double number(const json_t *object, const char *member) {
    const json_t *value = json_object_get(object, member);
    if (!json_is_number(value)) fail_msg("no number member %s", member);
    return json_number_value(value);
}

static void assert_null_member(const json_t *object, const char *member) {
    if (!json_is_null(json_object_get(object, member))) fail_msg("member %s is not null", member);
}

static void check_suspect(const json_t *s) {
    assert_string_equal(text(s, "part"), "third pair");
    assert_string_equal(text(s, "kind"), "mesh");
    assert_string_equal(text(s, "body"), "third gear");
    assert_close(number(s, "probability"), 0.94, 1e-9, 0);
    assert_close(number(s, "level_db"), 71.2, 1e-9, 0);
    assert_string_equal(text(s, "level_reference"), "1 um/s2");
    assert_close(number(s, "above_floor_db"), 21.3, 1e-9, 0);
    assert_close(number(s, "prominence_db"), 14.2, 1e-9, 0);
    assert_true(json_is_true(json_object_get(s, "audible")));
    assert_int_equal(json_array_size(json_object_get(s, "reasons")), 2);
    assert_int_equal(json_array_size(json_object_get(s, "checks")), 2);
    assert_string_equal(json_string_value(json_array_get(json_object_get(s, "not_separable_from"), 0)), "axle");
}

static void check_line(const json_t *line, double order, double hz, double level, const char *part, int harmonic,
                       int sideband) {
    assert_close(number(line, "order"), order, 1e-4, 0);
    assert_close(number(line, "hz"), hz, 0.006, 0);
    assert_close(number(line, "level_db"), level, 0.006, 0);
    assert_close(number(line, "above_floor_db"), level - 42.0, 0.006, 0);
    assert_close(number(line, "prominence_db"), level - 57.0, 0.006, 0);
    assert_string_equal(text(line, "part"), part);
    assert_int_equal(json_integer_value(json_object_get(line, "harmonic")), harmonic);
    assert_int_equal(json_integer_value(json_object_get(line, "sideband")), sideband);
    assert_close(number(line, "probability"), 0.97, 1e-9, 0);
}

static void check_run(const json_t *run) {
    assert_string_equal(text(run, "file"), "third.wav");
    assert_string_equal(text(run, "gear"), "3");
    assert_string_equal(text(run, "load"), "drive");
    assert_close(number(run, "duration_s"), 18.2, 1e-9, 0);
    const json_t *speed = json_object_get(run, "speed");
    assert_string_equal(text(speed, "source"), "tach");
    assert_close(number(speed, "mean_rpm"), 2110.4, 0.06, 0);
    assert_close(number(speed, "min_rpm"), 1204.0, 0.06, 0);
    assert_close(number(speed, "max_rpm"), 3187.2, 0.06, 0);
    assert_close(number(speed, "confidence"), 0.99, 1e-9, 0);
    assert_int_equal(json_array_size(json_object_get(run, "warnings")), 0);
    const json_t *lines = json_object_get(run, "lines");
    assert_int_equal(json_array_size(lines), FIXTURE_LINES);
    check_line(json_array_get(lines, 5), 17.25, 17.25 * 2110.4 / 60.0, 71.2, "third pair", 1, 0);
    assert_null_member(json_array_get(lines, 5), "sideband_of");
    check_line(json_array_get(lines, 4), 17.25 * 28.0 / 29.0, 17.25 * 28.0 / 29.0 * 2110.4 / 60.0, 55.0, "third pair",
               1, -1);
    assert_string_equal(text(json_array_get(lines, 4), "sideband_of"), "third gear");
    const json_t *rivals = json_object_get(json_array_get(lines, 9), "rivals");
    assert_int_equal(json_array_size(rivals), 1);
    assert_string_equal(text(json_array_get(rivals, 0), "part"), "alternator");
    assert_null_member(json_array_get(lines, 11), "part");
    assert_close(number(json_array_get(lines, 11), "probability"), 0.0, 1e-12, 0);
}

static void test_members(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    for (int indented = 0; indented < 2; indented++) {
        json_t *root = object_of(&f, indented);
        assert_string_equal(text(root, "layshaft"), LAY_VERSION);
        assert_int_equal(json_integer_value(json_object_get(root, "format")), 1);
        assert_string_equal(text(root, "unit"), "Bench five-speed");
        const json_t *verdict = json_object_get(root, "verdict"), *suspects = json_object_get(verdict, "suspects");
        assert_string_equal(text(verdict, "outcome"), "attention");
        assert_non_null(strstr(text(verdict, "summary"), "third pair"));
        assert_int_equal(json_array_size(suspects), 3);
        check_suspect(json_array_get(suspects, 0));
        assert_null_member(json_array_get(suspects, 1), "body");
        assert_null_member(json_array_get(suspects, 2), "part");
        assert_null_member(json_array_get(suspects, 2), "level_db");
        assert_int_equal(json_array_size(json_object_get(root, "runs")), FIXTURE_RUNS);
        check_run(json_array_get(json_object_get(root, "runs"), 0));
        const json_t *other = json_array_get(json_object_get(root, "runs"), 1);
        assert_int_equal(json_array_size(json_object_get(other, "warnings")), 2);
        assert_null_member(other, "gear");
        assert_null_member(json_object_get(other, "speed"), "mean_rpm");
        json_decref(root);
    }
    fixture_free(&f);
}

static void test_nan_and_hostile_text(void **state) {
    (void)state;
    static const char name[] = "\"quoted\" \\ back\tslash \001 \xFF \xED\xA1\x8C \xED\x95\x9C\n";
    fixture f;
    fixture_make(&f);
    f.specs[0].file = BORROWED(name);
    f.lines[5].line.tnr_db = NAN;
    f.lines[5].line.power = 0.0;
    f.runs[0].duration_s = INFINITY;
    json_t *root = object_of(&f, false);
    const json_t *run = json_array_get(json_object_get(root, "runs"), 0);
    assert_string_equal(
        text(run, "file"),
        "\"quoted\" \\ back\tslash \001 \xEF\xBF\xBD \xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD \xED\x95\x9C\n");
    assert_null_member(run, "duration_s");
    assert_null_member(json_array_get(json_object_get(run, "lines"), 5), "prominence_db");
    assert_null_member(json_array_get(json_object_get(run, "lines"), 5), "level_db");
    json_decref(root);
    fixture_free(&f);
}

/* A host program may have set a locale with a decimal comma. */
static void test_locale(void **state) {
    (void)state;
    fixture f;
    if (setlocale(LC_NUMERIC, "de_DE.UTF-8") == NULL && setlocale(LC_NUMERIC, "fr_FR.UTF-8") == NULL) skip();
    fixture_make(&f);
    json_t *root = object_of(&f, false);
    check_suspect(json_array_get(json_object_get(json_object_get(root, "verdict"), "suspects"), 0));
    json_decref(root);
    fixture_free(&f);
    setlocale(LC_NUMERIC, "C");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_members), cmocka_unit_test(test_nan_and_hostile_text),
                                       cmocka_unit_test(test_locale)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
