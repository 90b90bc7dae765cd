/* Damaged, empty and disguised recordings: what is there is delivered, all else is refused with a reason. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { FRAMES = 20000 };

static void refuse(const char *path, lay_status expected, const char *fragment) {
    lay_recording *rec = NULL;
    lay_error err = {0};
    lay_status status = lay_recording_open(path, 0, &rec, &err);
    if (status != expected || strstr(err.message, fragment) == NULL)
        fail_msg("%s: status %d, '%s'", path, (int)status, err.message);
    assert_null(rec);
    if (strcmp(err.file, path) != 0) fail_msg("%s: the error names '%s'", path, err.file);
}

/* Whatever a damaged file holds can be read to its end; returns frames read, -1 when it was refused. */
static int64_t survive(const char *path, lay_recording_info *info) {
    lay_recording *rec = NULL;
    lay_error err = {0};
    lay_status status = lay_recording_open(path, 0, &rec, &err);
    if (status != LAY_OK) {
        assert_int_equal(status, LAY_BAD_INPUT);
        assert_true(err.message[0] != 0);
        return -1;
    }
    *info = *lay_recording_get_info(rec);
    assert_true(info->channels >= 1 && info->channels <= 1024 && info->rate > 0 && info->frames > 0);
    double *x = calloc((size_t)info->channels * 256, sizeof *x);
    int64_t total = 0;
    size_t got;
    do {
        assert_int_equal(lay_recording_read(rec, x, 256, &got, &err), LAY_OK);
        total += (int64_t)got;
    } while (got == 256);
    *info = *lay_recording_get_info(rec);
    free(x);
    lay_recording_close(rec);
    return total;
}

/* Bytes of a good recording of FRAMES frames of two channels; caller frees. */
static char *good_bytes(const char *name, lay_file_format format, size_t *length) {
    double *x = calloc(2 * FRAMES, sizeof *x);
    lay_random r;
    lay_random_seed(&r, 1);
    for (int i = 0; i < 2 * FRAMES; i++) x[i] = 0.1 * lay_random_normal(&r);
    lay_writer *w;
    assert_int_equal(lay_writer_open(scratch_path(name), format, 48000, 2, &w, NULL), LAY_OK);
    assert_int_equal(lay_writer_write(w, x, FRAMES, NULL), LAY_OK);
    assert_int_equal(lay_writer_close(w, NULL), LAY_OK);
    free(x);
    char *bytes;
    assert_int_equal(lay_read_file(scratch_path(name), 1 << 24, &bytes, length, NULL), LAY_OK);
    return bytes;
}

static void no_recordings(void **state) {
    (void)state;
    refuse(scratch_path("missing.wav"), LAY_BAD_INPUT, "no such file");
    refuse(scratch_path("missing.csv"), LAY_BAD_INPUT, "no such file");
    refuse(scratch_path("."), LAY_BAD_INPUT, "folder");
    refuse(scratch_text("empty.wav", ""), LAY_BAD_INPUT, "empty");
    refuse(scratch_text("empty.csv", ""), LAY_BAD_INPUT, "empty");
    refuse("/dev/null", LAY_BAD_INPUT, "not an ordinary file");
    static const char *const names[] = {"t.wav", "t.flac", "t.ogg", "t.mp3", "t.aiff",
                                        "t.au",  "t.snd",  "t.vox", "t.gsm", "t"};
    static const char text[] =
        "Dear customer, here is the recording you asked for. It whines in third gear under drive.\n";
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        lay_recording *rec = NULL;
        assert_int_equal(lay_recording_open(scratch_text(names[i], text), 0, &rec, NULL), LAY_BAD_INPUT);
        assert_null(rec);
    }
    refuse(scratch_file("riff.csv", "RIFF\x24\0\0\0WAVEfmt ", 16), LAY_BAD_INPUT, "plain text");
}

static void no_permission(void **state) {
    (void)state;
    const char *path = scratch_text("closed.wav", "x");
    if (geteuid() == 0) skip(); /* root may read everything */
    assert_int_equal(chmod(path, 0), 0);
    refuse(path, LAY_IO, "ermission");
}

static void truncated_wav(void **state) {
    (void)state;
    size_t length;
    lay_recording_info info;
    char *bytes = good_bytes("good.wav", LAY_FILE_WAV16, &length);
    assert_int_equal(survive(scratch_path("good.wav"), &info), FRAMES);
    assert_false(info.truncated);
    const char *path = scratch_file("cut.wav", bytes, length - 4 * 5000 - 1); /* ends inside a sample */
    int64_t got = survive(path, &info);
    assert_true(got == FRAMES - 5001 || got == FRAMES - 5000);
    assert_int_equal(info.frames, got);
    assert_true(info.truncated);
    for (size_t n = 1; n < 200 && n < length; n++) survive(scratch_file("cut.wav", bytes, n), &info);
    free(bytes);
}

static void truncated_flac(void **state) {
    (void)state;
    size_t length;
    lay_recording_info info;
    char *bytes = good_bytes("good.flac", LAY_FILE_FLAC24, &length);
    int64_t got = survive(scratch_file("cut.flac", bytes, length / 2), &info);
    assert_true(got > FRAMES / 4 && got < FRAMES * 3 / 4);
    assert_int_equal(info.frames, got);
    assert_true(info.truncated);
    for (size_t n = 1; n < length; n += length / 60) survive(scratch_file("cut.flac", bytes, n), &info);
    free(bytes);
}

/* A stream that was written without knowing its length states 0 samples: they are counted. The 36 bits of the count
 * start in the middle of byte 21, RFC 9639 section 8.2. */
static void flac_of_unknown_length(void **state) {
    (void)state;
    size_t length;
    lay_recording_info info;
    char *bytes = good_bytes("known.flac", LAY_FILE_FLAC16, &length);
    bytes[21] = (char)(bytes[21] & 0xf0);
    memset(bytes + 22, 0, 4);
    assert_int_equal(survive(scratch_file("unknown.flac", bytes, length), &info), FRAMES);
    assert_int_equal(info.frames, FRAMES);
    assert_false(info.truncated);
    free(bytes);
}

/* A canonical header of 44 bytes with chosen numbers in front of 400 bytes of samples. */
static const char *forged(unsigned channels, unsigned rate, unsigned bits, unsigned data_bytes) {
    unsigned char b[444] = "RIFF....WAVEfmt \x10\0\0\0\1\0";
    unsigned align = channels * bits / 8;
    memcpy(b + 36, "data", 4);
    unsigned riff = data_bytes + 36, per_second = rate * align;
    for (int i = 0; i < 4; i++) {
        b[4 + i] = (unsigned char)(riff >> 8 * i);
        b[24 + i] = (unsigned char)(rate >> 8 * i);
        b[28 + i] = (unsigned char)(per_second >> 8 * i);
        b[40 + i] = (unsigned char)(data_bytes >> 8 * i);
    }
    for (int i = 0; i < 2; i++) {
        b[22 + i] = (unsigned char)(channels >> 8 * i);
        b[32 + i] = (unsigned char)(align >> 8 * i);
        b[34 + i] = (unsigned char)(bits >> 8 * i);
    }
    for (size_t i = 44; i < sizeof b; i++) b[i] = (unsigned char)(i * 37);
    return scratch_file("forged.wav", b, sizeof b);
}

static void forged_headers(void **state) {
    (void)state;
    lay_recording_info info;
    assert_int_equal(survive(forged(2, 48000, 16, 400), &info), 100);
    assert_false(info.truncated);
    assert_int_equal(survive(forged(2, 48000, 16, 1000000), &info), 100);
    assert_true(info.truncated);
    int64_t got = survive(forged(2, 48000, 16, 0xffffffffu), &info); /* a recorder that could not seek back */
    assert_int_equal(got, 100);
    assert_false(info.truncated);
    assert_int_equal(survive(forged(0, 48000, 16, 400), &info), -1);
    assert_int_equal(survive(forged(65535, 48000, 16, 400), &info), -1);
    assert_int_equal(survive(forged(2, 0, 16, 400), &info), -1);
    survive(forged(2, 0x7fffffff, 16, 400), &info);
    survive(forged(2, 0xffffffffu, 16, 400), &info);
    survive(forged(2, 48000, 0, 400), &info);
    survive(forged(2, 48000, 65535, 400), &info);
    survive(forged(1024, 48000, 32, 0x7ffffff0), &info);
}

static void flipped_bytes(void **state) {
    (void)state;
    static const struct {
        const char *name, *bad;
        lay_file_format format;
    } kinds[] = {{"a.wav", "bad.wav", LAY_FILE_WAV24},
                 {"b.wav", "badf.wav", LAY_FILE_WAV_FLOAT},
                 {"c.flac", "bad.flac", LAY_FILE_FLAC16}};
    lay_random r;
    lay_random_seed(&r, 77);
    for (int k = 0; k < 3; k++) {
        size_t length;
        lay_recording_info info;
        char *bytes = good_bytes(kinds[k].name, kinds[k].format, &length);
        for (int round = 0; round < 60; round++) {
            size_t at = (size_t)lay_random_int(&r, 0, round < 40 ? 120 : (int)length - 1);
            char kept = bytes[at];
            bytes[at] = (char)lay_random_int(&r, -128, 127);
            survive(scratch_file(kinds[k].bad, bytes, length), &info);
            bytes[at] = kept;
        }
        free(bytes);
    }
}

static void hostile_csv(void **state) {
    (void)state;
    size_t length = 200000;
    char *text = malloc(length);
    memset(text, '1', length);
    refuse(scratch_file("line.csv", text, length), LAY_BAD_INPUT, "longer than");
    for (size_t i = 1; i < length; i += 2) text[i] = ',';
    text[3999] = '\n';
    refuse(scratch_file("wide.csv", text, length), LAY_BAD_INPUT, "columns");
    free(text);
    refuse(scratch_text("words.csv", "Dear customer\nhere is the file\n"), LAY_BAD_INPUT, "not a number");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_recordings),          cmocka_unit_test(no_permission),
        cmocka_unit_test(truncated_wav),          cmocka_unit_test(truncated_flac),
        cmocka_unit_test(flac_of_unknown_length), cmocka_unit_test(forged_headers),
        cmocka_unit_test(flipped_bytes),          cmocka_unit_test(hostile_csv),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
