/* Pictures of the closer look: what is drawn and said, names that stay in their quotes, and that gnuplot takes it. */
#include "report/look_plot.h"

#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"

#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTS = 256, SPEEDS = 12, ROWS = 6, BINS = 400 };

typedef struct scene {
    fixture f;
    lay_report_view view;
    double hz[SPEEDS], loud[SPEEDS], quiet[SPEEDS], floor[SPEEDS], seconds[SPEEDS];
    lay_cut cuts[2];
    lay_look_order orders[2];
    lay_look_wheel wheels[2];
    double mean[POINTS], difference[POINTS];
    lay_resonance resonance;
    lay_symptom symptom;
} scene;

/* The suspect's order on drive and on coast, twelve speeds; a resonance that it passes; two wheels over their turns. */
static void make(scene *s) {
    memset(s, 0, sizeof *s);
    fixture_make(&s->f);
    for (int i = 0; i < SPEEDS; i++) {
        s->hz[i] = 20 + 2 * i;
        s->loud[i] = 1e-4 * (1 + i);
        s->quiet[i] = 1e-6;
        s->floor[i] = 1e-8;
        s->seconds[i] = 1;
    }
    s->cuts[0] = (lay_cut){17.25, SPEEDS, s->hz, s->loud, s->floor, s->seconds};
    s->cuts[1] = (lay_cut){17.25, SPEEDS, s->hz, s->quiet, s->floor, s->seconds};
    s->orders[0] = (lay_look_order){0, 0, 1};
    s->orders[1] = (lay_look_order){1, 0, 1};
    s->f.runs[1].quantity = s->f.runs[0].quantity;
    s->f.runs[0].full_scale = s->f.runs[1].full_scale = 1;
    s->f.runs[1].load = LAY_LOAD_COAST;
    for (int i = 0; i < POINTS; i++) {
        s->mean[i] = cos(2 * LAY_PI * 27 * i / POINTS);
        s->difference[i] = i / 9 == 12 ? 1 : 0.01;
    }
    for (int w = 0; w < 2; w++)
        s->wheels[w] = (lay_look_wheel){.suspect = 0,
                                        .wheel = w,
                                        .body = w ? lay_unit_body(s->f.unit, "third gear")
                                                  : lay_unit_body(s->f.unit, "countershaft"),
                                        .teeth = {w ? 29 : 27},
                                        .mesh_count = 1,
                                        .from_tach = w == 0,
                                        .average = {.points = POINTS, .channels = 1, .turns = 200, .mean = s->mean},
                                        .signals = {.points = POINTS, .band = s->mean, .difference = s->difference}};
    s->resonance = (lay_resonance){.hz = 552, .gain_db = 9, .width_hz = 30, .orders = 3};
    s->symptom = (lay_symptom){
        .kind = LAY_SYMPTOM_LOCAL, .body = BORROWED("countershaft"), .value = 0.43, .text = BORROWED("x")};
    lay_diagnosis *d = &s->f.diagnosis;
    d->look = (lay_look){
        .cuts = s->cuts, .orders = s->orders, .cut_count = 2, .answered = true, .wheels = s->wheels, .wheel_count = 2};
    d->look.response = (lay_response){.resonances = &s->resonance, .resonance_count = 1};
    d->verdict.suspects[0].symptoms = &s->symptom;
    d->verdict.suspects[0].symptom_count = 1;
    s->view = (lay_report_view){s->f.unit, &s->f.table, d};
}

static void release(scene *s) {
    s->f.diagnosis.look = (lay_look){0};
    s->f.diagnosis.verdict.suspects[0].symptom_count = 0;
    fixture_free(&s->f);
}

static void assert_has(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from:\n%.3000s", words, text);
}

static void levels_against_speed(void **state) {
    (void)state;
    scene s;
    lay_text out = {0};
    make(&s);
    assert_true(lay_cuts_worth(&s.view, 0));
    assert_false(lay_cuts_worth(&s.view, 1));
    assert_int_equal(lay_cuts_script(&s.view, 0, "a.png", NULL, &out, NULL), LAY_OK);
    assert_has(out.text, "'Level of ''third pair'' against speed'");
    assert_has(out.text, "set xlabel 'input shaft (rpm)'");
    assert_has(out.text, "set ylabel 'Level (dB re 1 um/s2)'");
    assert_has(out.text, "'run 1, drive, order 17.25'");
    assert_has(out.text, "'run 2, coast, order 17.25'");
    assert_has(out.text, "dt 1 pt 7"); /* drive solid, coast dashed, each with a mark of its own */
    assert_has(out.text, "dt 2 pt 5");
    assert_has(out.text, "'552 Hz answers' at 1920"); /* 60 * 552 / 17.25 */
    lay_text_free(&out);
    release(&s);
}

static void wheels_over_a_turn(void **state) {
    (void)state;
    scene s;
    lay_text out = {0};
    make(&s);
    assert_true(lay_turn_worth(&s.view, 0));
    assert_int_equal(lay_turn_script(&s.view, 0, "a.png", "a.svg", &out, NULL), LAY_OK);
    assert_has(out.text, "'countershaft, 27 teeth, mean of 200 turns'");
    assert_has(out.text, "'third gear, 29 teeth, mean of 200 turns'");
    assert_has(out.text, "tooth 1 meshes at the tach''s pulse");
    assert_has(out.text, "only distances mean something");
    assert_has(out.text, "set label 'tooth 12'"); /* 0.43 of 27 teeth, the first being number 1 */
    lay_text_free(&out);
    s.f.diagnosis.look.wheel_count = 1;
    assert_false(lay_turn_worth(&s.view, 0));
    assert_int_equal(lay_turn_script(&s.view, 0, "a.png", NULL, &out, NULL), LAY_BAD_INPUT);
    lay_text_free(&out);
    release(&s);
}

/* A map of six speeds with a line at order 17.25. */
static void map_of(lay_order_spectrum *map) {
    *map = (lay_order_spectrum){.step = 0.125, .bins = BINS, .classes = ROWS};
    map->class_hz = lay_calloc(ROWS, sizeof(double));
    map->class_segments = lay_calloc(ROWS, sizeof(double));
    map->map = lay_calloc(ROWS * BINS, sizeof(double));
    for (int r = 0; r < ROWS; r++) {
        map->class_hz[r] = 20 + 5 * r;
        map->class_segments[r] = r == 2 ? 0 : 3; /* one row holds nothing */
        for (int i = 0; i < BINS; i++) map->map[r * BINS + i] = i == 138 ? 1e-2 : 1e-6 * (1 + (i * 7 + r) % 5);
    }
}

static void order_map(void **state) {
    (void)state;
    scene s;
    lay_text out = {0};
    lay_order_spectrum map;
    make(&s);
    map_of(&map);
    assert_int_equal(lay_map_script(&s.view, 0, &map, "a.png", NULL, &out, NULL), LAY_OK);
    assert_has(out.text, "Run 1  third.wav   gear 3, drive: orders against speed");
    assert_has(out.text, "set label 'third pair' at screen");
    assert_has(out.text, "'dB over the noise'");
    assert_has(out.text, "'552 Hz' at");
    lay_text_free(&out);
    for (int r = 1; r < ROWS; r++) map.class_segments[r] = 0;
    assert_int_equal(lay_map_script(&s.view, 0, &map, "a.png", NULL, &out, NULL), LAY_BAD_INPUT);
    lay_text_free(&out);
    lay_order_spectrum_free(&map);
    release(&s);
}

/* Names are the user's: quotes, backslashes, a newline and an emoji must not end a string or start a command. */
static void names_stay_in_their_quotes(void **state) {
    (void)state;
    scene s;
    lay_text out = {0};
    make(&s);
    s.f.diagnosis.verdict.suspects[0].part = BORROWED("it's \"\\\n`date` \xF0\x9F\x94\xA7");
    assert_int_equal(lay_cuts_script(&s.view, 0, "a.png", NULL, &out, NULL), LAY_OK);
    assert_has(out.text, "it''s \"\\");
    assert_null(strstr(out.text, "\n`date`"));
    assert_int_equal(lay_cuts_script(&s.view, 0, "a\n.png", NULL, &out, NULL), LAY_BAD_INPUT);
    lay_text_free(&out);
    release(&s);
}

static void is_png(const char *path) {
    unsigned char head[8] = {0};
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    assert_int_equal(fread(head, 1, 8, f), 8);
    fclose(f);
    assert_memory_equal(head, "\x89PNG\r\n\x1a\n", 8);
}

static void gnuplot_draws_them(void **state) {
    (void)state;
    scene s;
    lay_order_spectrum map;
    make(&s);
    map_of(&map);
    for (int k = 0; k < 3; k++) {
        lay_text out = {0};
        lay_error err = {0};
        const char *png = scratch_path("a.png"), *svg = scratch_path("a.svg");
        lay_status status = k == 0   ? lay_cuts_script(&s.view, 0, png, svg, &out, &err)
                            : k == 1 ? lay_turn_script(&s.view, 0, png, svg, &out, &err)
                                     : lay_map_script(&s.view, 0, &map, png, svg, &out, &err);
        assert_int_equal(status, LAY_OK);
        if (lay_report_gnuplot(&out, &err) != LAY_OK) fail_msg("%s", err.message);
        is_png(png);
        remove(png);
        lay_text_free(&out);
    }
    lay_order_spectrum_free(&map);
    release(&s);
}

int main(void) {
    signal(SIGPIPE, SIG_IGN);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_against_speed),       cmocka_unit_test(wheels_over_a_turn), cmocka_unit_test(order_map),
        cmocka_unit_test(names_stay_in_their_quotes), cmocka_unit_test(gnuplot_draws_them),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
