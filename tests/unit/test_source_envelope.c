/* The envelope among a run's evidence: there where the recording allows, said to be missing where it does not. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"
#include "support/struck.h"

#include <math.h>
#include <string.h>

/* Ten seconds of fourth gear at 1500 rpm with the mesh of the headset in noise. */
static void analyse(double rate, double seconds, lay_run_evidence *run) {
    static const char row[] = "file,gear,load,rpm\nrun.wav,4,drive,1500\n";
    lay_error err = {0};
    lay_writer *writer = NULL;
    lay_run_table table = {0};
    struck s = {.rate = rate, .seconds = seconds, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 0.01, 47);
    struck_tone(&s, 23 * 25, 0.1);
    scratch_open();
    assert_int_equal(lay_writer_open(scratch_path("run.wav"), LAY_FILE_WAV_FLOAT, rate, 1, &writer, &err), LAY_OK);
    assert_int_equal(lay_writer_write(writer, s.x, s.frames, &err), LAY_OK);
    assert_int_equal(lay_writer_close(writer, &err), LAY_OK);
    const char *path = scratch_path("runs.csv");
    if (lay_run_table_parse(row, sizeof row - 1, path, &table, &err) != LAY_OK) fail_msg("%s", err.message);
    if (lay_run_analyse(fixture_unit, &table.runs[0], path, NULL, run, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_true(run->usable && run->line_count > 0);
    lay_run_table_free(&table);
    struck_free(&s);
    scratch_close();
}

static bool locked(const lay_envelope_spectrum *e, double order) {
    for (size_t i = 0; i < e->locked_count; i++)
        if (fabs(e->locked[i] - order) < 1e-6) return true;
    return false;
}

/* The engine's cycle, its firing (six cylinders, four strokes) and every body that turns. */
static void a_run_has_an_envelope(void **state) {
    (void)state;
    static const double orders[] = {0.5, 3, 1, 23.0 / 36, 2.7};
    lay_run_evidence run = {0};
    analyse(16000, 10, &run);
    assert_true(run.envelope.band_count > 0 && run.envelope.bins > 0);
    assert_close(run.envelope.revolutions, run.revolutions, 0, 0.5);
    for (int i = 0; i < 5; i++) assert_true(locked(&run.envelope, orders[i]));
    assert_false(locked(&run.envelope, 0.731));
    lay_run_evidence_free(&run);
}

/* What is sampled too slowly to hear a ring has its lines all the same, and the run says what was not looked for. */
static void slow_sampling_is_said(void **state) {
    (void)state;
    lay_run_evidence run = {0};
    analyse(5000, 10, &run);
    assert_int_equal(run.envelope.band_count, 0);
    assert_non_null(strstr(run.warnings.text, "bearings and tooth damage were not looked for"));
    lay_run_evidence_free(&run);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_has_an_envelope),
        cmocka_unit_test(slow_sampling_is_said),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
