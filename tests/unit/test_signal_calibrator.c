/* The tone of a calibrator: its level to a hundredth of a decibel whatever the noise, and what is wrong with it. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000 };

typedef struct tone {
    double hz, rms, noise, sag_db; /* over the recording */
    double seconds, offset;
} tone;

static const char *write_tone(const tone *t) {
    char *path = lay_strdup(scratch_path("tone.wav"));
    static char kept[512];
    lay_writer *w = NULL;
    lay_error err = {0};
    lay_random random;
    lay_random_seed(&random, 7);
    remove(path);
    if (lay_writer_open(path, LAY_FILE_WAV24, RATE, 2, &w, &err) != LAY_OK) fail_msg("%s", err.message);
    int frames = (int)(t->seconds * RATE);
    for (int i = 0; i < frames; i++) {
        double level = t->rms * sqrt(2) * pow(10, t->sag_db / 20 * i / frames);
        double x = t->offset + level * sin(2 * LAY_PI * t->hz * i / RATE) + t->noise * lay_random_normal(&random);
        double frame[2] = {0.001 * lay_random_normal(&random), fmax(-1, fmin(1, x))};
        assert_int_equal(lay_writer_write(w, frame, 1, &err), LAY_OK);
    }
    assert_int_equal(lay_writer_close(w, &err), LAY_OK);
    snprintf(kept, sizeof kept, "%s", path);
    free(path);
    return kept;
}

static void tones_are_measured(void **state) {
    (void)state;
    static const tone tones[] = {
        {1000, 0.1, 1e-4, 0, 5, 0},   {250, 0.02, 1e-4, 0, 5, 0.1},   {159.155, 0.3, 0.03, 0, 8, -0.2},
        {79.58, 0.05, 1e-3, 0, 3, 0}, {1003.37, 1e-3, 1e-5, 0, 5, 0},
    };
    for (size_t i = 0; i < sizeof tones / sizeof tones[0]; i++) {
        lay_calibrator_tone found;
        lay_error err = {0};
        if (lay_calibrator_measure(write_tone(&tones[i]), 2, &found, &err) != LAY_OK) fail_msg("%s", err.message);
        assert_close(20 * log10(found.rms / tones[i].rms), 0, 0.01, 0);
        assert_close(found.hz, tones[i].hz, 0.02, 0);
        assert_close(found.above_noise_db, 20 * log10(tones[i].rms / tones[i].noise), 0.3, 0);
        assert_true(found.steady_db < 0.2 && !found.clipped);
        lay_text said = {0};
        lay_calibrator_describe(&found, &said);
        bool clean = tones[i].rms / tones[i].noise > 18;
        assert_true(clean ? said.length == 0 : strstr(said.text, "above everything else") != NULL);
        lay_text_free(&said);
    }
}

static void refused(tone t, int channel, const char *words) {
    lay_calibrator_tone found;
    lay_error err = {0};
    assert_int_equal(lay_calibrator_measure(write_tone(&t), channel, &found, &err), LAY_BAD_INPUT);
    if (!strstr(err.message, words)) fail_msg("'%s' is not in: %s", words, err.message);
}

static void what_is_no_calibration_is_refused(void **state) {
    (void)state;
    refused((tone){1000, 0.1, 1e-4, 0, 5, 0}, 1, "no steady tone");
    refused((tone){1000, 0.1, 1e-4, 0, 5, 0}, 3, "no channel 3");
    refused((tone){1000, 0.1, 0.2, 0, 5, 0}, 2, "no steady tone");
    refused((tone){1000, 0.9, 1e-4, 0, 5, 0}, 2, "full scale");
    refused((tone){1000, 0.1, 1e-4, -3, 5, 0}, 2, "changes by 2.");
    refused((tone){1000, 0.1, 1e-4, 0, 1, 0}, 2, "at least 2 s");
    refused((tone){1000, 0, 0, 0, 5, 0}, 2, "no steady tone");
}

static void what_is_odd_is_said(void **state) {
    (void)state;
    lay_calibrator_tone found;
    lay_error err = {0};
    lay_text said = {0};
    tone t = {440, 0.1, 1e-4, -0.5, 5, 0};
    assert_int_equal(lay_calibrator_measure(write_tone(&t), 2, &found, &err), LAY_OK);
    lay_calibrator_describe(&found, &said);
    assert_non_null(strstr(said.text, "440.0 Hz is an unusual tone"));
    assert_non_null(strstr(said.text, "the tone changed by 0."));
    lay_text_free(&said);
}

/* ISO 1683: 20 uPa; 94 dB is 1.0024 Pa. ISO 80000-3: 1 g is 9.80665 m/s2. */
static void what_calibrators_give(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double rms;
        lay_quantity quantity;
    } good[] = {{"94", 1.00237, LAY_PRESSURE},        {"94 dB", 1.00237, LAY_PRESSURE},
                {"114dB", 10.0237, LAY_PRESSURE},     {"1 Pa", 1, LAY_PRESSURE},
                {"10 m/s2", 10, LAY_ACCELERATION},    {"1g", 9.80665, LAY_ACCELERATION},
                {"3.16 m/s2", 3.16, LAY_ACCELERATION}};
    static const char *const bad[] = {"", "dB", "loud", "94 dBA", "-3 Pa", "0 g", "9 4", "1000", "10 rpm", "1e"};
    lay_calibrator c;
    lay_error err = {0};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_int_equal(lay_calibrator_parse(good[i].text, &c, &err), LAY_OK);
        assert_close(c.rms, good[i].rms, 0, 1e-5);
        assert_int_equal(c.quantity, good[i].quantity);
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(lay_calibrator_parse(bad[i], &c, &err), LAY_BAD_USAGE);
}

static void the_newest_of_each_channel_counts(void **state) {
    (void)state;
    lay_error err = {0};
    lay_calibration *found;
    size_t count;
    const lay_calibrator_tone basis = {.hz = 1000, .steady_db = 0.01, .above_noise_db = 60};
    char *path = lay_strdup(scratch_path("calibration.csv"));
    assert_int_equal(lay_calibration_load(path, "box, left", &found, &count, &err), LAY_OK);
    assert_int_equal(count, 0);
    const lay_calibration rows[] = {{2, 63.2, LAY_PRESSURE, "2026-11-26 10:00"},
                                    {1, 490.3, LAY_ACCELERATION, "2026-11-26 10:05"},
                                    {2, 60, LAY_PRESSURE, "2026-11-27 09:00"}};
    for (size_t i = 0; i < 3; i++)
        assert_int_equal(lay_calibration_add(path, "box, left", &rows[i], &basis, "c.wav", &err), LAY_OK);
    assert_int_equal(lay_calibration_add(path, "other box", &rows[0], &basis, "c.wav", &err), LAY_OK);
    assert_int_equal(lay_calibration_load(path, "box, left", &found, &count, &err), LAY_OK);
    assert_int_equal(count, 2);
    assert_int_equal(found[0].channel, 1);
    assert_close(found[0].full_scale, 490.3, 1e-9, 0);
    assert_int_equal(found[0].quantity, LAY_ACCELERATION);
    assert_close(found[1].full_scale, 60, 1e-9, 0);
    assert_string_equal(found[1].when, "2026-11-27 09:00");
    free(found);
    free(path);
    path = lay_strdup(scratch_text("bad.csv", "channel,full_scale,unit,device,when\n1,loud,Pa,x,now\n"));
    assert_int_equal(lay_calibration_load(path, "x", &found, &count, &err), LAY_BAD_INPUT);
    assert_int_equal(err.line, 2);
    free(path);
    path = lay_strdup(scratch_text("bad.csv", "channel,unit\n"));
    assert_int_equal(lay_calibration_load(path, "x", &found, &count, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "full_scale"));
    free(path);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tones_are_measured),
        cmocka_unit_test(what_is_no_calibration_is_refused),
        cmocka_unit_test(what_is_odd_is_said),
        cmocka_unit_test(what_calibrators_give),
        cmocka_unit_test(the_newest_of_each_channel_counts),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
