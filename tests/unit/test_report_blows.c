/* A fault that strikes in the report: its own fields in the text, an object in the JSON, a picture of its envelope. */
#include <layshaft/report.h>

#include "report/envelope_plot.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BANDS 2
#define BINS 1793 /* orders 0..28 in steps of 1/64 */
#define COUNTERSHAFT (23.0 / 36)
#define BPFI 5.4293 /* of the fixture's bearing, per turn (SNFA bearing catalogue) */

static void make_envelope(lay_envelope_spectrum *e, double order) {
    *e =
        (lay_envelope_spectrum){.step = 1.0 / 64, .bins = BINS, .band_count = BANDS, .elementary = 1, .averages = 9.46};
    e->bands = lay_calloc(BANDS, sizeof *e->bands);
    e->ratio = lay_calloc(BANDS * BINS, sizeof *e->ratio);
    assert_non_null(e->bands);
    assert_non_null(e->ratio);
    for (size_t i = 0; i < BANDS * BINS; i++) e->ratio[i] = 1;
    for (int k = 1; k <= 3; k++) e->ratio[BINS + (size_t)lround(k * order / e->step)] = powf(10, 2.4F / (float)k);
}

/* The first suspect of the fixture turned into an inner race of its bearing. */
static void make(fixture *f) {
    fixture_make(f);
    lay_suspect *s = &f->suspects[0];
    double order = BPFI * COUNTERSHAFT;
    s->part = BORROWED("countershaft front");
    s->body = NULL;
    s->kind = LAY_KIND_INNER;
    s->not_separable_from.count = 0;
    s->blows = (lay_blows){.lines = 3,
                           .order = order,
                           .hz = 122.01,
                           .slip = -0.004,
                           .level_db = {24.13, 18.2, 12.9},
                           .swing_order = COUNTERSHAFT,
                           .side_db = 16.4,
                           .band = 1,
                           .low_hz = 6248,
                           .high_hz = 7753,
                           .angle = NAN};
    make_envelope(&f->runs[0].envelope, order);
}

static void drop(fixture *f) {
    lay_envelope_spectrum_free(&f->runs[0].envelope);
    fixture_free(f);
}

static void assert_has(const char *text, const char *words, bool wanted) {
    if ((strstr(text, words) != NULL) != wanted)
        fail_msg("'%s' is %s:\n%.4000s", words, wanted ? "missing from" : "in", text);
}

/* ---- text ---- */

static lay_text text_of(const fixture *f) {
    lay_text out = {0};
    assert_int_equal(lay_report_text(f->unit, &f->table, &f->diagnosis, false, 80, &out), LAY_OK);
    return out;
}

static void test_text(void **state) {
    (void)state;
    fixture f;
    make(&f);
    lay_text out = text_of(&f);
    assert_has(out.text, "Finding       bearing: damage on the inner race\n", true);
    assert_has(out.text, "Strikes       5.429 times per turn of countershaft: order 3.469, 122.0 Hz\n", true);
    assert_has(out.text, "Lines         24, 18, 13 dB over the floor of the envelope spectrum\n", true);
    assert_has(out.text, "Rings at      6250 to 7750 Hz, a band of 71.2 dB re 1 um/s2\n", true);
    assert_has(out.text, "   Tone  ", false);
    lay_text_free(&out);
    drop(&f);
}

static void test_text_of_a_chip(void **state) {
    (void)state;
    fixture f;
    make(&f);
    lay_suspect *s = &f.suspects[0];
    s->kind = LAY_KIND_CHIP;
    s->part = BORROWED("third pair");
    s->body = BORROWED("third gear");
    s->blows.lines = 5;
    s->blows.level_db[1] = NAN; /* hidden by the engine */
    s->blows.level_db[3] = s->blows.level_db[4] = 9;
    lay_text out = text_of(&f);
    assert_has(out.text, "Strikes       once per turn of third gear: order 3.469, 122.0 Hz\n", true);
    assert_has(out.text, "Lines         4 of them, 9 to 24 dB over the noise, averaged turn by turn\n", true);
    s->kind = LAY_KIND_ELEMENT;
    s->part = BORROWED("countershaft front");
    s->body = NULL;
    s->blows.level_db[1] = 18.2;
    lay_text_free(&out);
    out = text_of(&f);
    assert_has(out.text, "Swings        5.429 times per turn of countershaft", true);
    assert_has(out.text, "Lines         24, 18, 13 dB", true);
    lay_text_free(&out);
    drop(&f);
}

/* Where nothing stands out, no checks are asked for. */
static void test_clear(void **state) {
    (void)state;
    fixture f;
    make(&f);
    f.diagnosis.verdict.outcome = LAY_CLEAR;
    f.suspects[0].probability = 0.13;
    lay_text out = text_of(&f);
    assert_has(out.text, "What came nearest, not near enough to act on\n", true);
    assert_has(out.text, " 1. countershaft front: less likely (13 %); bearing: damage on the inner race\n", true);
    assert_has(out.text, "What to look at", false);
    assert_has(out.text, "What else", false);
    lay_text_free(&out);
    drop(&f);
}

static void add_stranger(fixture *f) {
    f->diagnosis.verdict.stranger = (lay_stranger){.found = true,
                                                   .body = lay_unit_body(f->unit, "mainshaft"),
                                                   .times = 4.712,
                                                   .probability = 0.8,
                                                   .runs = 2,
                                                   .order = 2.8,
                                                   .hz = 98.5,
                                                   .height_db = 21.2,
                                                   .low_hz = 3004,
                                                   .high_hz = 3996};
}

static void test_stranger(void **state) {
    (void)state;
    fixture f;
    make(&f);
    lay_text out = text_of(&f);
    assert_has(out.text, "no part of the unit file makes", false);
    lay_text_free(&out);
    add_stranger(&f);
    out = text_of(&f);
    assert_has(out.text, "Blows that no part of the unit file makes\n", true);
    assert_has(out.text, "Strikes       4.712 times per turn of mainshaft: order 2.800, 98.5 Hz\n", true);
    assert_has(out.text, "Rings at      3000 to 4000 Hz\n", true);
    lay_text_free(&out);
    drop(&f);
}

/* ---- JSON ---- */

static json_t *object_of(const fixture *f) {
    lay_text out = {0};
    json_error_t error;
    assert_int_equal(lay_report_json(f->unit, &f->table, &f->diagnosis, true, &out), LAY_OK);
    json_t *root = json_loads(out.text, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL) fail_msg("line %d: %s\n%s", error.line, error.text, out.text);
    lay_text_free(&out);
    return root;
}

static double number(const json_t *object, const char *member) {
    const json_t *value = json_object_get(object, member);
    if (!json_is_number(value)) fail_msg("no number member %s", member);
    return json_number_value(value);
}

static double element(const json_t *object, const char *member, size_t i) {
    return json_number_value(json_array_get(json_object_get(object, member), i));
}

static void test_json(void **state) {
    (void)state;
    fixture f;
    make(&f);
    add_stranger(&f);
    json_t *root = object_of(&f);
    const json_t *verdict = json_object_get(root, "verdict"), *suspects = json_object_get(verdict, "suspects");
    const json_t *blows = json_object_get(json_array_get(suspects, 0), "blows");
    assert_close(number(blows, "order"), BPFI * COUNTERSHAFT, 6e-5, 0);
    assert_close(number(blows, "hz"), 122.01, 1e-9, 0);
    assert_close(number(blows, "slip"), -0.004, 1e-9, 0);
    assert_close(element(blows, "band_hz", 0), 6248, 1e-9, 0);
    assert_close(element(blows, "band_hz", 1), 7753, 1e-9, 0);
    assert_int_equal(json_array_size(json_object_get(blows, "multiples_db")), 3);
    assert_close(element(blows, "multiples_db", 1), 18.2, 1e-9, 0);
    assert_close(number(blows, "sidebands_every"), COUNTERSHAFT, 6e-5, 0);
    assert_close(number(blows, "sidebands_db"), 16.4, 1e-9, 0);
    assert_true(json_is_null(json_object_get(blows, "angle_deg")));
    assert_true(json_is_null(json_object_get(json_array_get(suspects, 1), "blows"))); /* a tone */
    const json_t *runs = json_object_get(root, "runs");
    const json_t *envelope = json_object_get(json_array_get(runs, 0), "envelope");
    assert_close(number(envelope, "turns_per_segment"), 64, 1e-9, 0);
    assert_close(number(envelope, "averages"), 9.5, 1e-9, 0);
    assert_close(number(envelope, "band_count"), BANDS, 1e-9, 0);
    assert_true(json_is_null(json_object_get(json_array_get(runs, 1), "envelope")));
    assert_close(number(json_object_get(verdict, "stranger"), "times_per_turn"), 4.712, 1e-9, 0);
    json_decref(root);
    f.diagnosis.verdict.stranger.found = false;
    f.suspects[0].blows.angle = 0.25;
    f.suspects[0].blows.swing_order = 0;
    root = object_of(&f);
    verdict = json_object_get(root, "verdict");
    blows = json_object_get(json_array_get(json_object_get(verdict, "suspects"), 0), "blows");
    assert_close(number(blows, "angle_deg"), 90, 1e-9, 0);
    assert_true(json_is_null(json_object_get(blows, "sidebands_every")));
    assert_true(json_is_null(json_object_get(verdict, "stranger")));
    json_decref(root);
    drop(&f);
}

/* ---- picture ---- */

static void test_script(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    lay_text out = {0};
    make(&f);
    lay_report_view view = {f.unit, &f.table, &f.diagnosis};
    const lay_suspect *s = lay_envelope_suspect(&view);
    assert_ptr_equal(s, &f.suspects[0]);
    assert_int_equal(lay_envelope_script(&view, s, "job/a.png", "job/it's.svg", &out, &err), LAY_OK);
    assert_has(out.text,
               "set title 'Run 1  third.wav   gear 3, drive' .\"\\n\". 'What strikes in bearing ''countershaft "
               "front'', by the noise from 6250 to 7750 Hz' noenhanced",
               true);
    assert_has(out.text, "set xlabel 'Order (times per turn of the input shaft)' noenhanced\n", true);
    assert_has(out.text, "set output 'job/a.png'\nplot $envelope", true);
    assert_has(out.text, "set output 'job/it''s.svg'\nplot $envelope", true);
    assert_has(out.text, "set label 'inner race 3.469' at 3.4687,", true);
    assert_has(out.text, "set label 'x5' at 17.3", true);
    assert_has(out.text, "set label 'x6'", false);
    assert_has(out.text, "\n3.4688 24.00\n", true);       /* the curve keeps its peak, of the right band */
    assert_has(out.text, "$blows << END\n3.4687 ", true); /* predicted orders */
    assert_has(out.text, "$sides << END\n2.8298 ", true); /* one turn of the countershaft below the first */
    assert_has(out.text, "$turns << END\n0.6389 ", true); /* turns of the countershaft */
    assert_has(out.text, "title 'countershaft turning'", true);
    lay_text_free(&out);
    drop(&f);
}

/* Three families of orders, each with dashes and a mark of its own. */
static void test_signs_beside_colour(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    lay_text out = {0};
    make(&f);
    lay_report_view view = {f.unit, &f.table, &f.diagnosis};
    assert_int_equal(lay_envelope_script(&view, &f.suspects[0], "a.png", NULL, &out, &err), LAY_OK);
    char dashes[3][8], marks[3][8];
    int count = 0;
    for (const char *at = out.text; (at = strstr(at, "nohead dt ")) != NULL && count < 3; count++) {
        at += strlen("nohead dt ");
        snprintf(dashes[count], sizeof dashes[0], "%.*s", (int)strcspn(at, " "), at);
        const char *mark = strstr(at, "points pt ") + strlen("points pt ");
        snprintf(marks[count], sizeof marks[0], "%.*s", (int)strcspn(mark, " "), mark);
    }
    assert_int_equal(count, 3);
    for (int i = 0; i < 3; i++) {
        assert_string_not_equal(dashes[i], dashes[(i + 1) % 3]);
        assert_string_not_equal(marks[i], marks[(i + 1) % 3]);
    }
    lay_text_free(&out);
    drop(&f);
}

/* Holes in the spectrum, no order, a name that would break out: the script stays a script. */
static void test_hostile(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    lay_text out = {0};
    make(&f);
    lay_report_view view = {f.unit, &f.table, &f.diagnosis};
    memset(f.runs[0].envelope.ratio, 0, BANDS * BINS * sizeof(float));
    f.suspects[0].part = BORROWED("x'\nset output 'y");
    f.suspects[0].blows.order = 0;
    assert_int_equal(lay_envelope_script(&view, &f.suspects[0], "a\nb.png", NULL, &out, &err), LAY_BAD_INPUT);
    lay_text_free(&out);
    assert_int_equal(lay_envelope_script(&view, &f.suspects[0], "a.png", NULL, &out, &err), LAY_OK);
    assert_has(out.text, "nan", false);
    assert_has(out.text, "inf", false);
    assert_has(out.text, "\nset output 'y", false);
    lay_text_free(&out);
    f.suspects[0].blows.band = BANDS; /* no such band */
    assert_null(lay_envelope_suspect(&view));
    f.suspects[0].blows = (lay_blows){0}; /* a tone */
    assert_null(lay_envelope_suspect(&view));
    drop(&f);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_text),
                                       cmocka_unit_test(test_text_of_a_chip),
                                       cmocka_unit_test(test_clear),
                                       cmocka_unit_test(test_stranger),
                                       cmocka_unit_test(test_json),
                                       cmocka_unit_test(test_script),
                                       cmocka_unit_test(test_signs_beside_colour),
                                       cmocka_unit_test(test_hostile)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
