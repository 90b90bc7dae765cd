/* The speed of runs as text, JSON and CSV. */
#include <layshaft/report.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/speed_row.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static void assert_has(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from:\n%s", words, text);
}

static void assert_lacks(const char *text, const char *words) {
    if (strstr(text, words) != NULL) fail_msg("'%s' is in:\n%s", words, text);
}

/* The text of one row, checked for its width. Free with free(). */
static char *text_of(const speed_fixture *f, int width) {
    lay_text out = {0};
    assert_int_equal(lay_report_speed_text(fixture_unit, &f->row, 1, false, width, &out), LAY_OK);
    for (const char *at = out.text; *at; at += strcspn(at, "\n") + 1) assert_true((int)strcspn(at, "\n") <= width);
    return out.text;
}

static void test_text_of_a_broken_sweep(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    char *text = text_of(&f, 80);
    assert_has(text, "Bench five-speed\nSpeed of the input shaft\n\nRun 2: third.wav\n");
    assert_has(text, "   Gear          3\n");
    assert_has(text, "   Speed         1200 to 2920 rpm, mean 2047\n");
    assert_has(text, "   Found from    the recording, within the stated 1200 to 3200 rpm\n");
    assert_has(text, "   How sure      as good as certain (97 %)\n");
    assert_has(text, "   No speed at   0.0-2.3 s, 11.0-12.4 s and 19.0-20.0 s\n");
    assert_has(text, "   Picture       job/report/speed-02.png\n");
    assert_lacks(text, "next");
    assert_lacks(text, "Gears tried");
    free(text);
    speed_fixture_free(&f);
}

/* 1 % of the speed at every knot: the rms over time of 0.01 x hz, for a run-up from a to b over equal times
 * 0.01 sqrt((a^2 + ab + b^2) / 3). */
static void test_uncertainty(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    lay_shaft_free(&f.speed.shaft);
    speed_fixture_segment(&f, 0, 20, 1200, 2400);
    char *text = text_of(&f, 80);
    double sd = 0.01 * sqrt((1200.0 * 1200 + 1200.0 * 2400 + 2400.0 * 2400) / 3), shown;
    const char *at = strstr(text, "Good to");
    assert_non_null(at);
    assert_int_equal(sscanf(at, "Good to %lf rpm either way (95 %%)", &shown), 1);
    assert_close(shown, 2 * sd, 0.06, 0);
    assert_lacks(text, "No speed");
    free(text);
    free(f.speed.shaft.sd);
    f.speed.shaft.sd = NULL;
    text = text_of(&f, 80);
    assert_lacks(text, "Good to");
    free(text);
    speed_fixture_free(&f);
}

static void test_sources(void **state) {
    (void)state;
    static const struct {
        lay_speed_source source;
        double low, high, road, confidence;
        const char *words;
    } cases[] = {
        {LAY_SPEED_TACH, 0, 0, 0, 0.99, "Found from    tach pulses on channel 2\n"},
        {LAY_SPEED_LOG, 0, 0, 0, 0.99, "Found from    the rpm log drive.csv\n"},
        {LAY_SPEED_STATED, 2110, 2110, 0, 0.9, "Found from    the stated 2110 rpm, refined on the recording\n"},
        {LAY_SPEED_STATED, 2110, 2110, 0, 0.4, "the stated 2110 rpm, which the recording does not confirm\n"},
        {LAY_SPEED_STATED, 1200, 3200, 0, 0.9, "the stated 1200 to 3200 rpm, followed on the recording\n"},
        {LAY_SPEED_SIGNAL, 0, 0, 0, 0.9, "Found from    the recording alone\n"},
        {LAY_SPEED_SIGNAL, 0, 0, 25, 0.9, "the recording, near the stated road speed of 90 km/h\n"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        speed_fixture f;
        speed_fixture_make(&f);
        f.spec.rpm_low = cases[i].low;
        f.spec.rpm_high = cases[i].high;
        f.spec.road_speed_ms = cases[i].road;
        f.speed.shaft.source = cases[i].source;
        f.speed.shaft.confidence = cases[i].confidence;
        char *text = text_of(&f, 80);
        assert_has(text, cases[i].words);
        free(text);
        speed_fixture_free(&f);
    }
}

/* Unsure and missing speeds say what to do, in the words of the place where it is to be done. */
static void test_what_to_do(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    f.speed.shaft.confidence = 0.3;
    f.spec.rpm_low = f.spec.rpm_high = 0;
    char *text = text_of(&f, 80);
    assert_has(text, "   How sure      not confirmed (30 %)\n");
    assert_has(text, "\nWhat to do next\n   - Run 2: Say roughly how fast the shaft turned, in the rpm column");
    assert_has(text, "tach_channel in");
    free(text);
    f.spec.line = 0; /* named on the command line */
    text = text_of(&f, 80);
    assert_has(text, "with --rpm,");
    assert_has(text, "--tach-channel)");
    free(text);
    f.spec.rpm_low = f.spec.rpm_high = 2110;
    text = text_of(&f, 80);
    assert_has(text, "Check the stated rpm and the gear.");
    free(text);
    lay_speed_row rows[4] = {f.row, f.row, f.row, f.row};
    lay_run_spec unknown = f.spec;
    unknown.rpm_low = unknown.rpm_high = 0;
    rows[1].spec = &unknown;
    for (size_t i = 0; i < 4; i++) rows[i].number = i + 1;
    lay_text out = {0};
    assert_int_equal(lay_report_speed_text(fixture_unit, rows, 4, false, 80, &out), LAY_OK);
    assert_has(out.text, "\nWhat to do next\n   - Runs 1, 3 and 4: Check the stated rpm and the gear. ");
    assert_has(out.text, "\n   - Run 2: Say roughly ");
    lay_text_free(&out);
    lay_shaft_free(&f.speed.shaft);
    f.speed.found = false;
    lay_text_add(&f.speed.warnings, "no speed: nothing turns\nchannel 1: all is \033[2Jsilent\n");
    text = text_of(&f, 60);
    assert_has(text, "   Speed         not found\n");
    assert_has(text, "   Warning: no speed: nothing turns\n   Warning: channel 1: all is ");
    assert_lacks(text, "\033");
    assert_lacks(text, "How sure");
    assert_lacks(text, "which gear");
    free(text);
    f.speed.gear = -1;
    text = text_of(&f, 80);
    assert_has(text, "   - Run 2: Say which gear it was, with --gear.");
    free(text);
    speed_fixture_free(&f);
}

/* A tach that is not believed: the tach is to be looked at, not the rpm. */
static void test_doubtful_tach(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    f.speed.shaft.source = LAY_SPEED_TACH;
    f.speed.shaft.confidence = 0.04;
    char *text = text_of(&f, 80);
    assert_has(text, "   - Run 2: Look at the tach's own signal");
    assert_lacks(text, "stated rpm");
    free(text);
    speed_fixture_free(&f);
}

static void test_gears_tried(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    double probability[] = {0.0004, 0.92, 0.0796};
    assert_int_equal(fixture_unit->gear_count, 3); /* 3, 4, N */
    f.speed.gear_probability = probability;
    f.speed.gear = 1;
    char *text = text_of(&f, 80);
    assert_has(text, "   Gear          4, found from the recording\n   Gears tried   4 (92 %), N (8 %)\n");
    assert_lacks(text, "Say which gear");
    free(text);
    probability[1] = 0.62;
    text = text_of(&f, 80);
    assert_has(text, "\nWhat to do next\n   - Run 2: Say which gear it was, in the gear column of runs.csv.\n");
    free(text);
    f.speed.gear_probability = NULL;
    speed_fixture_free(&f);
}

/* ---- JSON, read back by a parser that is not ours ---- */

static double number(const json_t *object, const char *member) {
    const json_t *value = json_object_get(object, member);
    if (!json_is_number(value)) fail_msg("no number member %s", member);
    return json_number_value(value);
}

static json_t *json_of(const speed_fixture *f) {
    lay_text out = {0};
    json_error_t error;
    assert_int_equal(lay_report_speed_json(fixture_unit, &f->row, 1, false, &out), LAY_OK);
    json_t *root = json_loads(out.text, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL) fail_msg("%s\n%s", error.text, out.text);
    assert_ptr_equal(strchr(out.text, '\n'), out.text + out.length - 1); /* one line */
    lay_text_free(&out);
    return root;
}

static void check_pieces(const json_t *run) {
    static const double pieces[][2] = {{2.3, 11.0}, {12.4, 19.0}}, gaps[][2] = {{0, 2.3}, {11.0, 12.4}, {19.0, 20.0}};
    const json_t *with = json_object_get(run, "pieces"), *without = json_object_get(run, "gaps");
    assert_int_equal(json_array_size(with), 2);
    assert_int_equal(json_array_size(without), 3);
    for (size_t i = 0; i < 2; i++) {
        assert_close(number(json_array_get(with, i), "start_s"), pieces[i][0], 1e-9, 0);
        assert_close(number(json_array_get(with, i), "end_s"), pieces[i][1], 1e-9, 0);
    }
    for (size_t i = 0; i < 3; i++) {
        assert_close(number(json_array_get(without, i), "start_s"), gaps[i][0], 1e-9, 0);
        assert_close(number(json_array_get(without, i), "end_s"), gaps[i][1], 1e-9, 0);
    }
}

static void test_json(void **state) {
    (void)state;
    speed_fixture f;
    double probability[] = {0.9, 0.06, 0.04};
    speed_fixture_make(&f);
    f.speed.gear_probability = probability;
    json_t *root = json_of(&f);
    assert_string_equal(json_string_value(json_object_get(root, "layshaft")), LAY_VERSION);
    assert_close(number(root, "format"), 1, 0, 0);
    assert_string_equal(json_string_value(json_object_get(root, "unit")), "Bench five-speed");
    assert_int_equal(json_array_size(json_object_get(root, "runs")), 1);
    const json_t *run = json_array_get(json_object_get(root, "runs"), 0), *speed = json_object_get(run, "speed");
    assert_string_equal(json_string_value(json_object_get(run, "file")), "third.wav");
    assert_string_equal(json_string_value(json_object_get(run, "gear")), "3");
    assert_string_equal(json_string_value(json_object_get(run, "picture")), "job/report/speed-02.png");
    assert_close(number(run, "run"), 2, 0, 0);
    assert_string_equal(json_string_value(json_object_get(speed, "source")), "signal");
    /* 8.7 s from 1200 to 2070 rpm, 6.6 s from 2260 to 2920 rpm, both linear */
    assert_close(number(speed, "mean_rpm"), (8.7 * 1635 + 6.6 * 2590) / 15.3, 0.06, 0);
    assert_close(number(speed, "min_rpm"), 1200, 0.06, 0);
    assert_close(number(speed, "max_rpm"), 2920, 0.06, 0);
    assert_close(number(speed, "confidence"), 0.97, 1e-9, 0);
    check_pieces(run);
    const json_t *gears = json_object_get(run, "gears");
    assert_int_equal(json_array_size(gears), 3);
    assert_string_equal(json_string_value(json_object_get(json_array_get(gears, 1), "gear")), "4");
    assert_close(number(json_array_get(gears, 1), "probability"), 0.06, 1e-9, 0);
    json_decref(root);
    f.speed.gear_probability = NULL;
    speed_fixture_free(&f);
}

static void test_json_without_speed(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    lay_shaft_free(&f.speed.shaft);
    f.speed.found = false;
    f.speed.gear = -1;
    f.spec.gear = BORROWED("");
    f.row.picture = NULL;
    lay_text_add(&f.speed.warnings, "no speed: \"quoted\"\nsecond\n");
    json_t *root = json_of(&f);
    const json_t *run = json_array_get(json_object_get(root, "runs"), 0), *speed = json_object_get(run, "speed");
    static const char *const nulls[] = {"gear", "uncertainty_rpm", "picture"};
    for (size_t i = 0; i < 3; i++) assert_true(json_is_null(json_object_get(run, nulls[i])));
    assert_true(json_is_null(json_object_get(speed, "source")) && json_is_null(json_object_get(speed, "mean_rpm")));
    assert_close(number(speed, "confidence"), 0, 0, 0);
    assert_int_equal(json_array_size(json_object_get(run, "pieces")), 0);
    assert_int_equal(json_array_size(json_object_get(run, "gaps")), 1);
    assert_int_equal(json_array_size(json_object_get(run, "gears")), 0);
    assert_int_equal(json_array_size(json_object_get(run, "warnings")), 2);
    json_decref(root);
    speed_fixture_free(&f);
}

/* ---- CSV ---- */

static void check_csv(const lay_shaft *shaft, double step, size_t points) {
    lay_text out = {0};
    size_t count = 0;
    assert_int_equal(lay_report_speed_csv(shaft, step, &out), LAY_OK);
    assert_memory_equal(out.text, "time_s,rpm\n", 11);
    for (const char *at = out.text + 11; *at; at = strchr(at, '\n') + 1, count++) {
        double t, rpm, turns, hz;
        char exact[64];
        assert_int_equal(sscanf(at, "%lf,%lf\n", &t, &rpm), 2);
        assert_true(lay_shaft_at(shaft, t, NULL, &turns, &hz)); /* nothing in a gap */
        assert_close(rpm, 60 * hz, 0.0051, 0);
        assert_close(t / step, round(t / step), 0.00051 / step, 0);
        snprintf(exact, sizeof exact, "%.3f,%.2f\n", t, rpm);
        assert_memory_equal(at, exact, strlen(exact));
    }
    assert_int_equal(count, points);
    lay_text_free(&out);
}

static void test_csv(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    check_csv(&f.speed.shaft, 0.05, 175 + 133); /* both ends of 2.3..11.0 and 12.4..19.0 are multiples */
    check_csv(&f.speed.shaft, 0.7, 12 + 10);    /* 2.8..10.5, 12.6..18.9 */
    check_csv(&f.speed.shaft, 1000, 0);
    lay_shaft_free(&f.speed.shaft);
    check_csv(&f.speed.shaft, 0.05, 0);
    speed_fixture_free(&f);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_text_of_a_broken_sweep),
                                       cmocka_unit_test(test_uncertainty),
                                       cmocka_unit_test(test_sources),
                                       cmocka_unit_test(test_what_to_do),
                                       cmocka_unit_test(test_doubtful_tach),
                                       cmocka_unit_test(test_gears_tried),
                                       cmocka_unit_test(test_json),
                                       cmocka_unit_test(test_json_without_speed),
                                       cmocka_unit_test(test_csv)};
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
