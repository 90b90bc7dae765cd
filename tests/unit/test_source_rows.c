/* One row of the table against the unit and the recording: what is an error, what is a warning. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 16000

static lay_unit *unit;
static const char
    *wav; /* stereo, 4 s: channel 1 noise with the mesh of third gear at 30 turns/s, channel 2 one pulse per turn */

static double sample(lay_random *random, int n, int channel) {
    double t = (double)n / RATE, turns = 30 * t;
    if (channel == 0) return 0.05 * lay_random_normal(random) + 0.2 * sin(2 * LAY_PI * 17.25 * turns);
    return turns - floor(turns) < 0.1 ? 0.8 : 0;
}

static const char *write_wav(const char *name, int frames, double gain) {
    const char *path = scratch_path(name);
    lay_writer *w = NULL;
    lay_error err = {0};
    lay_random random;
    lay_random_seed(&random, 5);
    if (lay_writer_open(path, LAY_FILE_WAV_FLOAT, RATE, 2, &w, &err) != LAY_OK) fail_msg("%s", err.message);
    for (int n = 0; n < frames; n++) {
        double frame[2] = {gain * sample(&random, n, 0), gain * sample(&random, n, 1)};
        assert_int_equal(lay_writer_write(w, frame, 1, &err), LAY_OK);
    }
    assert_int_equal(lay_writer_close(w, &err), LAY_OK);
    return path;
}

static int setup(void **state) {
    (void)state;
    scratch_open();
    unit = unit_of(fixture_unit_text);
    wav = write_wav("whine.wav", 4 * RATE, 1);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    lay_unit_free(unit);
    scratch_close();
    return 0;
}

static lay_run_spec row(const char *path) {
    return (lay_run_spec){.file = BORROWED("whine.wav"),
                          .path = BORROWED(path),
                          .gear = BORROWED("3"),
                          .load = LAY_LOAD_DRIVE,
                          .tach_channel = 2,
                          .pulses_per_rev = 1,
                          .tach_on = BORROWED(""),
                          .rpm_log = BORROWED(""),
                          .full_scale = 1,
                          .line = 7};
}

static void refused(const lay_run_spec *spec, const char *words) {
    lay_run_evidence run;
    lay_error err = {0};
    lay_status status = lay_run_analyse(unit, spec, "runs.csv", NULL, &run, &err);
    assert_int_equal(status, LAY_BAD_INPUT);
    assert_int_equal(lay_status_exit(status), 2);
    assert_int_equal(err.line, 7);
    assert_string_equal(err.file, "runs.csv");
    if (!strstr(err.message, words)) fail_msg("'%s' is not in: %s", words, err.message);
    assert_null(run.lines);
}

static void warned(const lay_run_spec *spec, bool usable, const char *words) {
    lay_run_evidence run;
    lay_error err = {0};
    if (lay_run_analyse(unit, spec, "runs.csv", NULL, &run, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(run.usable, usable);
    if (!run.warnings.text || !strstr(run.warnings.text, words))
        fail_msg("'%s' is not in: %s", words, run.warnings.text ? run.warnings.text : "");
    lay_run_evidence_free(&run);
}

static void wrong_rows_are_errors_at_their_line(void **state) {
    (void)state;
    lay_run_spec spec = row(wav);
    spec.gear = BORROWED("9");
    refused(&spec, "no gear '9'; it has 3, 4, N");
    spec = row(wav);
    spec.tach_channel = 3;
    refused(&spec, "tach_channel is 3");
    spec = row(wav);
    spec.tach_on = BORROWED("camshaft");
    refused(&spec, "camshaft");
    spec = row(wav);
    spec.channels = (int[]){5};
    spec.channel_count = 1;
    refused(&spec, "channel 5");
    spec = row(wav);
    spec.channels = (int[]){2};
    spec.channel_count = 1;
    refused(&spec, "tach channel cannot be analysed");
}

static void a_good_row_gives_speed_and_line(void **state) {
    (void)state;
    lay_run_spec spec = row(wav);
    lay_run_evidence run;
    lay_error err = {0};
    if (lay_run_analyse(unit, &spec, "runs.csv", NULL, &run, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_true(run.usable);
    assert_int_equal(run.speed_source, LAY_SPEED_TACH);
    assert_true(fabs(run.mean_hz - 30) < 0.003);
    const lay_explained_line *best = NULL;
    for (size_t i = 0; i < run.line_count; i++)
        if (!best || run.lines[i].line.power > best->line.power) best = &run.lines[i];
    assert_non_null(best);
    assert_true(fabs(best->line.order - 17.25) < 0.01);
    assert_int_equal(best->claims[0].class_, LAY_LINE_MESH);
    /* a sine of amplitude 0.2 has a mean square of 0.02 */
    assert_true(fabs(lay_run_level_db(&run, best->line.power) - lay_db_power(0.02)) < 0.3);
    lay_run_evidence_free(&run);
}

static void what_cannot_be_analysed_is_a_warning(void **state) {
    (void)state;
    lay_run_spec spec = row(wav);
    spec.gear = BORROWED("");
    /* one tone, which the third pair makes in third and, idling, in fourth gear */
    warned(&spec, false, "gear is not given and could be");
    spec = row(wav);
    spec.tach_channel = 0; /* one tone alone tells no speed */
    spec.channels = (int[]){1};
    spec.channel_count = 1;
    warned(&spec, false, "no speed");
    spec = row(write_wav("silent.wav", 4 * RATE, 0));
    spec.tach_channel = 0;
    spec.rpm_low = spec.rpm_high = 1800;
    warned(&spec, false, "channel 1");
    spec = row(write_wav("short.wav", RATE / 20, 1));
    warned(&spec, false, "");
}

/* A tenth of all samples is NaN: they are counted, and the rest still gives the speed. */
static void not_a_number_is_survived(void **state) {
    (void)state;
    char *data = NULL;
    size_t length = 0;
    lay_error err = {0};
    assert_int_equal(lay_read_file(wav, 1u << 24, &data, &length, &err), LAY_OK);
    const float nan_value = NAN;
    for (size_t at = length - 8u * 4 * RATE; at + 8 <= length; at += 80)
        memcpy(data + at, &nan_value, sizeof nan_value);
    const char *path = scratch_file("nan.wav", data, length);
    free(data);
    lay_run_spec spec = row(path);
    lay_run_evidence run;
    if (lay_run_analyse(unit, &spec, "runs.csv", NULL, &run, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_non_null(run.warnings.text);
    for (size_t i = 0; i < run.line_count; i++) assert_true(isfinite(run.lines[i].line.power));
    lay_run_evidence_free(&run);
}

static double mesh_power(const lay_run_spec *spec) {
    lay_run_evidence run;
    lay_error err = {0};
    double power = 0;
    if (lay_run_analyse(unit, spec, "runs.csv", NULL, &run, &err) != LAY_OK) fail_msg("%s", err.message);
    for (size_t i = 0; i < run.line_count; i++)
        if (fabs(run.lines[i].line.order - 17.25) < 0.05) power = run.lines[i].line.power;
    lay_run_evidence_free(&run);
    assert_true(power > 0);
    return power;
}

/* The same channel twice, the second time at twice the full scale: (1 + 4) / (1 + 1) of the power. */
static void every_channel_has_its_own_full_scale(void **state) {
    (void)state;
    lay_run_spec spec = row(wav);
    spec.channels = (int[]){1, 1};
    spec.channel_count = 2;
    double alike = mesh_power(&spec);
    spec.gains = (double[]){1, 2};
    spec.gain_count = 2;
    /* the floor taken off each differs a little */
    assert_close(mesh_power(&spec) / alike, 2.5, 1e-4, 0);
    spec.gain_count = 1;
    refused(&spec, "full_scale has 1 number(s), but 2 channels");
}

static void a_missing_file_is_an_error(void **state) {
    (void)state;
    lay_run_spec spec = row(scratch_path("none.wav"));
    lay_run_evidence run;
    lay_error err = {0};
    assert_int_equal(lay_run_analyse(unit, &spec, "runs.csv", NULL, &run, &err), LAY_BAD_INPUT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wrong_rows_are_errors_at_their_line),  cmocka_unit_test(a_good_row_gives_speed_and_line),
        cmocka_unit_test(what_cannot_be_analysed_is_a_warning), cmocka_unit_test(not_a_number_is_survived),
        cmocka_unit_test(a_missing_file_is_an_error),           cmocka_unit_test(every_channel_has_its_own_full_scale),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
