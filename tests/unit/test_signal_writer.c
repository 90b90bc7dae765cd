/* Written recordings: exact steps, walls that hold, never over another file, never half a file. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const struct {
    const char *name;
    lay_file_format format;
    int bits;
} kinds[] = {{"a16.wav", LAY_FILE_WAV16, 16},
             {"a24.wav", LAY_FILE_WAV24, 24},
             {"f.wav", LAY_FILE_WAV_FLOAT, 0},
             {"b16.flac", LAY_FILE_FLAC16, 16},
             {"b24.flac", LAY_FILE_FLAC24, 24}};
enum { KINDS = sizeof kinds / sizeof kinds[0], FRAMES = 5000, CHANNELS = 3 };

static void write_file(const char *path, lay_file_format format, const double *x, size_t frames) {
    lay_writer *w;
    lay_error err = {0};
    if (lay_writer_open(path, format, 48000, CHANNELS, &w, &err) != LAY_OK) fail_msg("%s", err.message);
    struct stat info;
    assert_int_not_equal(stat(path, &info), 0); /* nothing under the final name yet */
    for (size_t at = 0; at < frames;) {
        size_t part = frames - at < 700 ? frames - at : 700;
        assert_int_equal(lay_writer_write(w, x + at * CHANNELS, part, &err), LAY_OK);
        at += part;
    }
    assert_int_equal(lay_writer_close(w, &err), LAY_OK);
}

static void read_file(const char *path, double *x, size_t frames) {
    lay_recording *rec;
    size_t got;
    lay_error err = {0};
    if (lay_recording_open(path, 0, &rec, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(lay_recording_get_info(rec)->frames, frames);
    assert_int_equal(lay_recording_get_info(rec)->channels, CHANNELS);
    assert_close(lay_recording_get_info(rec)->rate, 48000, 0, 0);
    assert_int_equal(lay_recording_read(rec, x, frames, &got, NULL), LAY_OK);
    assert_int_equal(got, frames);
    lay_recording_close(rec);
}

/* Half a step of rounding at most, no offset, walls at -1 and 1 - one step. */
static void every_format_round_trip(void **state) {
    (void)state;
    static double x[FRAMES * CHANNELS], y[FRAMES * CHANNELS];
    lay_random r;
    lay_random_seed(&r, 3);
    for (size_t k = 0; k < KINDS; k++) {
        double step = kinds[k].bits > 0 ? ldexp(1, 1 - kinds[k].bits) : 0, offset = 0;
        for (size_t i = 0; i < FRAMES * CHANNELS; i++) x[i] = lay_random_between(&r, -1.3, 1.3);
        write_file(scratch_path(kinds[k].name), kinds[k].format, x, FRAMES);
        read_file(scratch_path(kinds[k].name), y, FRAMES);
        for (size_t i = 0; i < FRAMES * CHANNELS; i++) {
            double held = step == 0 ? x[i] : fmax(-1, fmin(1 - step, x[i]));
            assert_close(y[i], held, 0.5 * step, 1e-7);
            offset += (y[i] - held) / (FRAMES * CHANNELS);
        }
        assert_close(offset, 0, 0.02 * step + 1e-9, 0); /* truncation would give half a step */
    }
}

static void small_files_are_plain_wav(void **state) {
    (void)state;
    double x[CHANNELS * 4] = {0};
    write_file(scratch_path("plain.wav"), LAY_FILE_WAV24, x, 4);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(scratch_path("plain.wav"), SFM_READ, &info);
    assert_non_null(file);
    int type = info.format & SF_FORMAT_TYPEMASK;
    assert_true(type == SF_FORMAT_WAV || type == SF_FORMAT_WAVEX);
    sf_close(file);
}

static void garbage_becomes_silence(void **state) {
    (void)state;
    double x[CHANNELS * 2] = {NAN, INFINITY, -INFINITY, 1e300, -1e300, 0.25}, y[CHANNELS * 2];
    const double expected[] = {0, 32767.0 / 32768, -1, 32767.0 / 32768, -1, 0.25};
    write_file(scratch_path("nan.wav"), LAY_FILE_WAV16, x, 2);
    read_file(scratch_path("nan.wav"), y, 2);
    for (int i = 0; i < CHANNELS * 2; i++) assert_close(y[i], expected[i], 0, 0);
}

static void same_samples_same_bytes(void **state) {
    (void)state;
    double x[CHANNELS * 4] = {0.1, 0.2, 0.3};
    char *a, *b;
    size_t na, nb;
    write_file(scratch_path("one.wav"), LAY_FILE_WAV_FLOAT, x, 4);
    write_file(scratch_path("two.wav"), LAY_FILE_WAV_FLOAT, x, 4);
    assert_int_equal(lay_read_file(scratch_path("one.wav"), 1 << 20, &a, &na, NULL), LAY_OK);
    assert_int_equal(lay_read_file(scratch_path("two.wav"), 1 << 20, &b, &nb, NULL), LAY_OK);
    assert_int_equal(na, nb);
    assert_memory_equal(a, b, na);
    for (size_t i = 0; i + 4 <= na; i++) assert_memory_not_equal(a + i, "PEAK", 4); /* that chunk holds the date */
    free(a);
    free(b);
}

static void existing_files_are_kept(void **state) {
    (void)state;
    lay_writer *w = NULL;
    lay_error err = {0};
    const char *path = scratch_text("taken.wav", "mine");
    assert_int_equal(lay_writer_open(path, LAY_FILE_WAV16, 48000, 1, &w, &err), LAY_BAD_INPUT);
    assert_null(w);
    assert_non_null(strstr(err.message, "exists"));
    /* taken while writing */
    path = scratch_path("late.wav");
    assert_int_equal(lay_writer_open(path, LAY_FILE_WAV16, 48000, 1, &w, &err), LAY_OK);
    scratch_text("late.wav", "theirs");
    assert_int_equal(lay_writer_close(w, &err), LAY_BAD_INPUT);
    char *text;
    size_t length;
    assert_int_equal(lay_read_file(path, 100, &text, &length, NULL), LAY_OK);
    assert_string_equal(text, "theirs");
    free(text);
}

static void impossible_requests(void **state) {
    (void)state;
    lay_writer *w;
    lay_error err = {0};
    assert_int_equal(lay_writer_open(scratch_path("no/x.wav"), LAY_FILE_WAV16, 48000, 1, &w, &err), LAY_IO);
    assert_int_equal(lay_writer_open(scratch_path("x.wav"), LAY_FILE_WAV16, 48000.5, 1, &w, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_writer_open(scratch_path("x.wav"), LAY_FILE_WAV16, NAN, 1, &w, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_writer_open(scratch_path("x.wav"), LAY_FILE_WAV16, 48000, 0, &w, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_writer_open(scratch_path("x.flac"), LAY_FILE_FLAC24, 48000, 99, &w, &err), LAY_BAD_INPUT);
    assert_null(w);
    assert_int_equal(lay_writer_close(NULL, &err), LAY_OK);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_format_round_trip), cmocka_unit_test(small_files_are_plain_wav),
        cmocka_unit_test(garbage_becomes_silence), cmocka_unit_test(same_samples_same_bytes),
        cmocka_unit_test(existing_files_are_kept), cmocka_unit_test(impossible_requests),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
