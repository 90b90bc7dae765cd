/* From a row of the table and its recording to the speed of the run: what is used, and what the user is told. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/played.h"
#include "support/scratch.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 16000.0

static lay_unit *unit;
static const char *steady_wav, *sweep_wav, *noise_wav, *tach_wav;
static const played_motion steady = {33.7, 33.7, 10, 0.001, 0.15}, sweep = {18, 50, 12, 0, 0};

/* ---- recordings of the unit in third gear ---- */

/* A six-cylinder engine, the headset, the third pair. */
static const played_box third_gear = {.lines = {{3, 0.2},
                                                {6, 0.12},
                                                {9, 0.08},
                                                {1, 0.02},
                                                {1.5, 0.03},
                                                {4.5, 0.02},
                                                {0.5, 0.02},
                                                {7.5, 0.015},
                                                {17.25, 0.06},
                                                {34.5, 0.025},
                                                {23, 0.05},
                                                {46, 0.02}},
                                      .line_count = 12};

/* `pulses`: a second channel with one pulse per turn. */
static const char *write_wav(const char *name, const played *p, bool pulses) {
    const char *path = scratch_path(name);
    int channels = pulses ? 2 : 1;
    size_t frames = played_frames(p);
    double *x = lay_calloc(frames * 2, sizeof *x);
    lay_writer *w = NULL;
    lay_error err = {0};
    assert_non_null(x);
    played_fill(p, x, (size_t)channels);
    for (size_t i = 0; i < frames && pulses; i++) {
        double turns = played_turns(&p->motion, (double)i / RATE);
        x[2 * i + 1] = turns - floor(turns) < 0.1 ? 0.8 : 0;
    }
    if (lay_writer_open(path, LAY_FILE_WAV_FLOAT, RATE, channels, &w, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(lay_writer_write(w, x, frames, &err), LAY_OK);
    assert_int_equal(lay_writer_close(w, &err), LAY_OK);
    free(x);
    return path;
}

static int setup(void **state) {
    (void)state;
    scratch_open();
    unit = unit_of(fixture_unit_text);
    played p = {.rate = RATE, .motion = steady, .box = &third_gear, .noise = 0.05, .seed = 1};
    steady_wav = write_wav("steady.wav", &p, false);
    tach_wav = write_wav("tach.wav", &p, true);
    p.motion = sweep;
    sweep_wav = write_wav("sweep.wav", &p, false);
    p.box = NULL;
    noise_wav = write_wav("noise.wav", &p, false);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    lay_unit_free(unit);
    scratch_close();
    return 0;
}

static lay_run_spec row(const char *path, double low_rpm, double high_rpm) {
    return (lay_run_spec){.file = BORROWED("run.wav"),
                          .path = BORROWED(path),
                          .gear = BORROWED("3"),
                          .load = LAY_LOAD_DRIVE,
                          .rpm_low = low_rpm,
                          .rpm_high = high_rpm,
                          .pulses_per_rev = 1,
                          .tach_on = BORROWED(""),
                          .rpm_log = BORROWED(""),
                          .full_scale = 1,
                          .line = 7};
}

static lay_run_speed speed_of_row(const lay_run_spec *spec) {
    lay_run_speed s;
    lay_error err = {0};
    if (lay_run_find_speed(unit, spec, "runs.csv", &s, &err) != LAY_OK) fail_msg("%s", err.message);
    return s;
}

static const char *words_of(const lay_run_speed *s) {
    return s->warnings.text ? s->warnings.text : "";
}

static void assert_says(const lay_run_speed *s, const char *words) {
    if (!strstr(words_of(s), words)) fail_msg("'%s' is not in: %s", words, words_of(s));
}

static void assert_right(const lay_run_speed *s, const played_motion *m) {
    assert_true(s->found);
    played_error e = played_compare(&s->shaft, m);
    assert_close(e.median, 0, 1e-3, 0);
    assert_close(e.most, 0, 5e-3, 0);
    assert_true(s->shaft.confidence >= 0.5);
    assert_close(s->duration_s, m->seconds, 1e-3, 0);
}

/* ---- one stated rpm ---- */

static void stated_and_right(void **state) {
    (void)state;
    lay_run_spec spec = row(steady_wav, 60 * 33.7, 60 * 33.7);
    lay_run_speed s = speed_of_row(&spec);
    assert_right(&s, &steady);
    assert_int_equal(s.shaft.source, LAY_SPEED_STATED);
    assert_close(s.shaft.correction, 0, 1e-3, 0);
    assert_int_equal(s.gear, lay_unit_gear(unit, "3"));
    assert_null(s.gear_probability);
    assert_null(strstr(words_of(&s), "rpm"));
    lay_run_speed_free(&s);
}

static void stated_and_somewhat_off(void **state) {
    (void)state;
    static const double off[] = {0.97, 1.03};
    for (size_t k = 0; k < 2; k++) {
        lay_run_spec spec = row(steady_wav, 60 * 33.7 * off[k], 60 * 33.7 * off[k]);
        lay_run_speed s = speed_of_row(&spec);
        assert_right(&s, &steady);
        assert_int_equal(s.shaft.source, LAY_SPEED_STATED);
        assert_close(s.shaft.correction, 1 / off[k] - 1, 1e-3, 0);
        assert_says(&s, "the recording's own lines say 2022 rpm, which is used");
        lay_run_speed_free(&s);
    }
}

static void stated_and_far_off(void **state) {
    (void)state;
    lay_run_spec spec = row(steady_wav, 60 * 33.7 * 1.3, 60 * 33.7 * 1.3);
    lay_run_speed s = speed_of_row(&spec);
    assert_right(&s, &steady);
    assert_close(s.shaft.correction, 1 / 1.3 - 1, 1e-3, 0);
    assert_says(&s, "the table says 2629 rpm; the recording's own lines say 2022 rpm, which is used");
    lay_run_speed_free(&s);
}

static void stated_but_nothing_heard(void **state) {
    (void)state;
    lay_run_spec spec = row(noise_wav, 1500, 1500);
    lay_run_speed s = speed_of_row(&spec);
    double turns, hz;
    assert_true(s.found);
    assert_int_equal(s.shaft.source, LAY_SPEED_STATED);
    assert_true(s.shaft.confidence < 0.3);
    assert_close(s.shaft.correction, 0, 0, 0);
    assert_true(lay_shaft_at(&s.shaft, 6, NULL, &turns, &hz));
    assert_close(hz, 25, 0, 1e-9);
    assert_says(&s, "the stated speed could not be confirmed on the recording");
    lay_run_speed_free(&s);
}

/* ---- a stated range, and nothing stated ---- */

static void range_holds_the_run(void **state) {
    (void)state;
    lay_run_spec spec = row(sweep_wav, 1050, 3050);
    lay_run_speed s = speed_of_row(&spec);
    assert_right(&s, &sweep);
    assert_int_equal(s.shaft.source, LAY_SPEED_SIGNAL);
    assert_close(s.shaft.correction, 0, 0, 0);
    assert_null(strstr(words_of(&s), "the table says"));
    lay_run_speed_free(&s);
}

static void nothing_stated(void **state) {
    (void)state;
    lay_run_spec spec = row(sweep_wav, 0, 0);
    lay_run_speed s = speed_of_row(&spec);
    assert_right(&s, &sweep);
    assert_int_equal(s.shaft.source, LAY_SPEED_SIGNAL);
    lay_run_speed_free(&s);
}

static void range_that_is_wrong(void **state) {
    (void)state;
    lay_run_spec spec = row(steady_wav, 3900, 4600); /* neither the speed nor twice it */
    lay_run_speed s = speed_of_row(&spec);
    assert_true(s.found);
    if (s.shaft.confidence >= 0.5) {
        assert_right(&s, &steady);
        assert_says(&s, "the table says 3900 to 4600 rpm; the recording's own lines say 2022 rpm");
    }
    lay_run_speed_free(&s);
}

static void nothing_stated_nothing_heard(void **state) {
    (void)state;
    lay_run_spec spec = row(noise_wav, 0, 0);
    lay_run_speed s = speed_of_row(&spec);
    assert_true(!s.found || s.shaft.confidence < 0.5);
    if (!s.found) assert_int_equal(s.shaft.count, 0);
    assert_says(&s, "record a tach pulse");
    lay_run_speed_free(&s);
}

static void road_speed_without_tyre(void **state) {
    (void)state;
    lay_run_spec spec = row(sweep_wav, 0, 0);
    spec.road_speed_ms = 20;
    lay_run_speed s = speed_of_row(&spec);
    assert_right(&s, &sweep);
    assert_says(&s, "the road speed cannot be used");
    lay_run_speed_free(&s);
}

/* ---- gears ---- */

static void gear_found_with_the_speed(void **state) {
    (void)state;
    lay_run_spec spec = row(sweep_wav, 0, 0);
    spec.gear = BORROWED("");
    lay_run_speed s = speed_of_row(&spec);
    assert_right(&s, &sweep);
    assert_non_null(s.gear_probability);
    double sum = 0;
    for (size_t g = 0; g < unit->gear_count; g++) sum += s.gear_probability[g];
    assert_true(sum <= 1 + 1e-9);
    int third = lay_unit_gear(unit, "3");
    for (size_t g = 0; g < unit->gear_count; g++) assert_true(s.gear_probability[third] >= s.gear_probability[g]);
    assert_says(&s, "the gear is not given");
    if (s.gear >= 0) assert_int_equal(s.gear, third);
    lay_run_speed_free(&s);
}

static void gear_found_along_the_tach(void **state) {
    (void)state;
    lay_run_spec spec = row(tach_wav, 0, 0);
    spec.gear = BORROWED("");
    spec.tach_channel = 2;
    lay_run_speed s = speed_of_row(&spec);
    assert_true(s.found);
    assert_int_equal(s.shaft.source, LAY_SPEED_TACH);
    played_error e = played_compare(&s.shaft, &steady);
    assert_close(e.most, 0, 2e-3, 0);
    assert_non_null(s.gear_probability);
    assert_true(s.gear_probability[lay_unit_gear(unit, "3")] >= s.gear_probability[lay_unit_gear(unit, "N")]);
    assert_says(&s, "the gear is not given");
    lay_run_speed_free(&s);
}

/* A tach without pulses is said so, and the recording is asked instead. */
static void tach_that_is_dead(void **state) {
    (void)state;
    played p = {.rate = RATE, .motion = {33.7, 33.7, 8, 0.001, 0.15}, .box = &third_gear, .noise = 0.05, .seed = 4};
    size_t frames = played_frames(&p);
    double *x = lay_calloc(2 * frames, sizeof *x);
    lay_writer *w = NULL;
    lay_error err = {0};
    assert_non_null(x);
    played_fill(&p, x, 2);
    assert_int_equal(lay_writer_open(scratch_path("dead.wav"), LAY_FILE_WAV_FLOAT, RATE, 2, &w, &err), LAY_OK);
    assert_int_equal(lay_writer_write(w, x, frames, &err), LAY_OK);
    assert_int_equal(lay_writer_close(w, &err), LAY_OK);
    free(x);
    lay_run_spec spec = row(scratch_path("dead.wav"), 0, 0);
    spec.tach_channel = 2;
    lay_run_speed s = speed_of_row(&spec);
    assert_says(&s, "tach channel 2");
    assert_right(&s, &p.motion);
    assert_int_equal(s.shaft.source, LAY_SPEED_SIGNAL);
    lay_run_speed_free(&s);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(stated_and_right),          cmocka_unit_test(stated_and_somewhat_off),
        cmocka_unit_test(stated_and_far_off),        cmocka_unit_test(stated_but_nothing_heard),
        cmocka_unit_test(range_holds_the_run),       cmocka_unit_test(nothing_stated),
        cmocka_unit_test(range_that_is_wrong),       cmocka_unit_test(nothing_stated_nothing_heard),
        cmocka_unit_test(road_speed_without_tyre),   cmocka_unit_test(gear_found_with_the_speed),
        cmocka_unit_test(gear_found_along_the_tach), cmocka_unit_test(tach_that_is_dead),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
