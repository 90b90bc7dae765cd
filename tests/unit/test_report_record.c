/* What `layshaft record` shows while it records and says afterwards. */
#include <layshaft/report.h>

#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- meters ---- */

static char *meter(const lay_meter *m, int rows) {
    lay_text out = {0};
    assert_int_equal(lay_report_meter(m, false, 80, rows, &out), LAY_OK);
    int lines = 0;
    for (const char *at = out.text; *at; at += strcspn(at, "\n") + 1, lines++)
        if (strcspn(at, "\n") > 80) fail_msg("wider than 80 columns:\n%s", out.text);
    assert_true(lines < rows);
    return out.text;
}

static void shows(const lay_meter *m, const char *words) {
    char *text = meter(m, 24);
    if (!strstr(text, words)) fail_msg("'%s' is missing from:\n%s", words, text);
    free(text);
}

static lay_meter one_channel(lay_meter_channel *c) {
    return (lay_meter){.what = "RECORDING", .seconds = 12.34, .channels = c, .count = 1};
}

static void levels_in_words(void **state) {
    (void)state;
    static const struct {
        lay_meter_channel channel;
        const char *words;
    } cases[] = {
        {{0.25, 0.5, NAN, false}, "-12.0 dB |"},
        {{0.25, 0.5, NAN, false}, "|  -6.0  good"},
        {{0.1, 0.5, NAN, false}, "good"},
        {{1, 1, NAN, false}, "CLIPS: lower the gain"},
        {{0.1, 0.5, 3.2, false}, "CLIPS"},
        {{0.9, 0.95, NAN, false}, "nearly full"},
        {{1e-3, 2e-3, NAN, false}, "low: raise the gain"},
        {{0, 0, NAN, false}, "no signal"},
        {{1, 1, NAN, true}, "tach"},
        {{1e-3, 1e-3, NAN, true}, "tach, low"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lay_meter_channel c = cases[i].channel;
        lay_meter m = one_channel(&c);
        shows(&m, cases[i].words);
    }
}

static void time_losses_and_tach(void **state) {
    (void)state;
    lay_meter_channel c = {0.1, 0.1, NAN, false};
    lay_tach_look tach = {.hz = 35, .missing = 2, .extra = 1};
    lay_meter m = one_channel(&c);
    shows(&m, "RECORDING  12.3 s");
    m.total_s = 30;
    shows(&m, "12.3 of 30 s");
    m.lost = 480;
    shows(&m, "LOST 480 samples");
    m.tach = &tach;
    shows(&m, "tach 2100 rpm; bad pulses in 3 s: 2 missing, 1 too many, 0 odd");
    tach = (lay_tach_look){.hz = 35};
    shows(&m, "tach 2100 rpm, all pulses good");
    m.tach = NULL;
    m.tach_trouble =
        "fewer than four tach pulses: is this the tach channel, and is the pickup near enough to its mark?";
    shows(&m, "tach: fewer than four");
}

/* However many channels there are, the lines fit the screen, and the worst of those that do not fit is named. */
static void many_channels_fit(void **state) {
    (void)state;
    static lay_meter_channel c[128];
    for (int i = 0; i < 128; i++) c[i] = (lay_meter_channel){0.1, 0.1, i == 99 ? 1.0 : NAN, false};
    for (int rows = 6; rows < 40; rows++)
        for (size_t count = 1; count <= 128; count++) {
            lay_meter m = {.what = "waiting", .seconds = NAN, .channels = c, .count = count, .keys = "q: leave"};
            char *text = meter(&m, rows);
            assert_non_null(strstr(text, "q: leave"));
            assert_true(count < 100 || strstr(text, "CLIPS") != NULL);
            free(text);
        }
}

/* ---- the result ---- */

static lay_run_spec spec;
static lay_capture_state state_of;
static lay_channel_check checks[2];
static lay_text warnings;

static lay_recorded plain(void) {
    spec = (lay_run_spec){.file = BORROWED("gear-3-drive-01.wav"),
                          .path = BORROWED("job/gear-3-drive-01.wav"),
                          .gear = BORROWED("3"),
                          .load = LAY_LOAD_DRIVE,
                          .full_scale = 100,
                          .quantity = LAY_ACCELERATION};
    state_of = (lay_capture_state){.device = "box",
                                   .rate = 48000,
                                   .channels = 2,
                                   .bits = 24,
                                   .frames = 1440000,
                                   .kept = 1440000,
                                   .first_loss_s = NAN};
    checks[0] = (lay_channel_check){.peak = 0.5, .rms = 0.01};
    checks[1] = (lay_channel_check){.peak = 0.25, .rms = 0.01};
    return (lay_recorded){.spec = &spec,
                          .number = 4,
                          .state = &state_of,
                          .ended = "time",
                          .checks = checks,
                          .warnings = &warnings,
                          .next = "drive on"};
}

static void says(const lay_recorded *r, const char *words) {
    lay_text out = {0};
    assert_int_equal(lay_report_recorded_text(r, false, 80, &out), LAY_OK);
    for (const char *at = out.text; *at; at += strcspn(at, "\n") + 1) assert_true(strcspn(at, "\n") <= 80);
    if (!strstr(out.text, words)) fail_msg("'%s' is missing from:\n%s", words, out.text);
    lay_text_free(&out);
}

static void the_result_in_words(void **state) {
    (void)state;
    lay_recorded r = plain();
    says(&r, "Recorded job/gear-3-drive-01.wav");
    says(&r, "30.0 s, 2 channels, 48000 samples per second, 24 bit");
    says(&r, "4 of runs.csv: gear 3, drive");
    says(&r, "nothing");
    says(&r, "channel 1: peak -6.0 dB of full scale, mean 120.0 dB re 1 um/s2"); /* 1 m/s2 rms, ISO 1683 */
    spec.gains = (double[]){1, 10};
    spec.gain_count = 2;
    says(&r, "channel 2: peak -12.0 dB of full scale, mean 140.0 dB re 1");
    spec.gain_count = 0;
    state_of.lost = 4800;
    state_of.first_loss_s = 12.5;
    says(&r, "4800 samples, silence stands for them, first at 12.5 s");
    checks[0].silent = true;
    says(&r, "channel 1: no signal");
    r.ended = "device";
    r.trouble = "the sound device stopped by itself";
    says(&r, "the sound device stopped by itself");
}

static void the_result_as_json(void **state) {
    (void)state;
    lay_recorded r = plain();
    const lay_tach_look tach = {.min_hz = 20, .max_hz = 50, .missing = 3};
    lay_text out = {0};
    lay_text_add(&warnings, "first\nsecond\n");
    r.tach = &tach;
    spec.tach_channel = 2;
    assert_int_equal(lay_report_recorded_json(&r, false, &out), LAY_OK);
    json_t *root = json_loads(out.text, 0, NULL);
    assert_non_null(root);
    assert_string_equal(json_string_value(json_object_get(root, "file")), "gear-3-drive-01.wav");
    assert_int_equal(json_integer_value(json_object_get(root, "run")), 4);
    assert_true(json_is_null(json_object_get(root, "first_loss_s")));
    assert_int_equal(json_array_size(json_object_get(root, "warnings")), 2);
    json_t *channel = json_array_get(json_object_get(root, "channels"), 1);
    assert_true(json_is_true(json_object_get(channel, "tach")));
    assert_true(json_is_null(json_object_get(channel, "level_db")));
    assert_int_equal(json_real_value(json_object_get(json_object_get(root, "tach"), "max_rpm")), 3000);
    json_decref(root);
    lay_text_free(&out);
    lay_text_free(&warnings);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_in_words),    cmocka_unit_test(time_losses_and_tach),
        cmocka_unit_test(many_channels_fit),  cmocka_unit_test(the_result_in_words),
        cmocka_unit_test(the_result_as_json),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
