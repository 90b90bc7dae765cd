/* Sound of a suspect: three clips of one place, which add up, and no recording of the job in danger. */
#include "report/clips.h"

#include <layshaft/sim.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define RATE 64000.0 /* above what browsers need: the clips come slower */

typedef struct job {
    lay_job job;
    lay_diagnosis diagnosis;
    lay_report_view view;
} job;

static void open_job(job *j, double rate) {
    lay_error err = {0};
    lay_fault fault = {.kind = LAY_FAULT_MESH, .index = 1, .strength_db = 14};
    lay_sim_options options = {.seed = 3,
                               .world = LAY_WORLD_STAND,
                               .tach = true,
                               .rate = rate,
                               .seconds = 6,
                               .faults = &fault,
                               .fault_count = 1};
    *j = (job){0};
    lay_status status = lay_sim_job(scratch_path("job"), fixture_unit, &options, NULL, NULL, &err);
    if (status == LAY_OK) status = lay_job_load(scratch_path("job"), &j->job, &err);
    if (status == LAY_OK) status = lay_diagnose(j->job.unit, &j->job.table, NULL, NULL, NULL, &j->diagnosis, &err);
    if (status != LAY_OK) fail_msg("%s", err.message);
    j->view = (lay_report_view){j->job.unit, &j->job.table, &j->diagnosis};
    assert_int_equal(j->diagnosis.verdict.outcome, LAY_ATTENTION);
}

static void close_job(job *j) {
    lay_diagnosis_free(&j->diagnosis);
    lay_job_free(&j->job);
    char command[700]; /* the scratch folder holds files only when it is closed */
    snprintf(command, sizeof command, "rm -rf '%s'", scratch_path("job"));
    assert_int_equal(system(command), 0);
}

#define MOST 400000

static size_t read_clip(const char *name, double *out, double *rate) {
    lay_recording *r;
    lay_error err = {0};
    size_t got = 0;
    if (lay_recording_open(scratch_path(name), 0, &r, &err) != LAY_OK) fail_msg("%s", err.message);
    *rate = lay_recording_get_info(r)->rate;
    assert_int_equal(lay_recording_get_info(r)->channels, 1);
    assert_int_equal(lay_recording_read(r, out, MOST, &got, &err), LAY_OK);
    lay_recording_close(r);
    return got;
}

static double *clip[LAY_CLIPS];

/* recorded = alone / lift + without, but for 16 bits and the fades, which are the same in all three. */
static void check_sum(const lay_clips *c, size_t count) {
    double lift = pow(10, c->lift_db / 20), worst = 0, loudest = 0, part = 0;
    for (size_t i = 0; i < count; i++) {
        worst = fmax(worst, fabs(clip[0][i] - clip[1][i] / lift - clip[2][i]));
        for (int k = 0; k < LAY_CLIPS; k++) loudest = fmax(loudest, fabs(clip[k][i]));
        part = fmax(part, fabs(clip[1][i]));
    }
    assert_true(worst < 3.0 / 32768);
    assert_close(loudest, 0.7, 0.02, 0);
    assert_true(part > 0.3); /* alone it is lifted so far that it can be heard */
}

static void check_clips(double recorded, double expected_rate) {
    job j;
    lay_clips c;
    lay_error err = {0};
    lay_strings written = {0};
    double rate;
    open_job(&j, recorded);
    assert_true(lay_clips_worth(&j.view, 0) && !lay_clips_worth(&j.view, 5));
    if (lay_clips_write(&j.view, 0, scratch_path("."), &written, &c, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_true(c.made && !c.band);
    assert_int_equal(written.count, LAY_CLIPS);
    assert_close(c.seconds, 4.0, 0.001, 0);
    assert_true(c.from_s >= 0 && c.from_s + c.seconds <= j.diagnosis.runs[0].duration_s + 0.01);
    size_t count = 0;
    for (int i = 0; i < LAY_CLIPS; i++) {
        count = read_clip(c.file[i], clip[i], &rate);
        assert_close(rate, expected_rate, 0, 1e-9);
        assert_close((double)count / rate, 4.0, 0.001, 0);
    }
    check_sum(&c, count);
    lay_clips_remove(&j.view, 0, scratch_path("."));
    struct stat st;
    assert_int_not_equal(stat(scratch_path(c.file[0]), &st), 0);
    lay_strings_free(&written);
    close_job(&j);
}

static void test_clips(void **state) {
    (void)state;
    check_clips(16000, 16000);
}

static void test_slower(void **state) {
    (void)state;
    check_clips(RATE, 48000);
}

/* Somebody keeps a recording of the job where a clip would go. */
static void test_spares_recordings(void **state) {
    (void)state;
    job j;
    lay_clips c;
    lay_error err = {0};
    lay_strings written = {0};
    open_job(&j, 16000);
    const char *path = scratch_text("suspect-1-without.flac", "a recording");
    free(j.job.table.runs[0].path);
    j.job.table.runs[0].path = lay_strdup(path);
    lay_clips_remove(&j.view, 0, scratch_path("."));
    if (j.diagnosis.verdict.suspects[0].best_run != 0) {
        assert_int_equal(lay_clips_write(&j.view, 0, scratch_path("."), &written, &c, &err), LAY_BAD_INPUT);
        assert_false(c.made);
    }
    struct stat st;
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_size, 11);
    lay_strings_free(&written);
    close_job(&j);
}

static int set_up(void **state) {
    for (int i = 0; i < LAY_CLIPS; i++) clip[i] = lay_calloc(MOST, sizeof *clip[i]);
    return fixture_unit_make(state) || scratch_setup(state);
}

static int tear_down(void **state) {
    for (int i = 0; i < LAY_CLIPS; i++) free(clip[i]);
    return fixture_unit_free(state) || scratch_teardown(state);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_clips), cmocka_unit_test(test_slower),
                                       cmocka_unit_test(test_spares_recordings)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
