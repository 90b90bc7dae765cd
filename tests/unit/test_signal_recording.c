/* Sound files of every kind come back with the samples that went in. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 12000 };

/* Channel c carries a sine of amplitude 0.7 / (c + 1) at 1000 (c + 1) Hz. */
static double wave(int c, int64_t i, double rate) {
    return 0.7 / (c + 1) * sin(2 * LAY_PI * 1000 * (c + 1) * (double)i / rate + 0.3);
}

static const char *make_file(const char *name, int format, int rate, int channels) {
    const char *path = scratch_path(name);
    SF_INFO info = {.samplerate = rate, .channels = channels, .format = format};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    if (file == NULL) fail_msg("%s: %s", name, sf_strerror(NULL));
    double *x = calloc((size_t)channels * FRAMES, sizeof *x);
    for (int i = 0; i < FRAMES; i++)
        for (int c = 0; c < channels; c++) x[i * channels + c] = wave(c, i, rate);
    assert_int_equal(sf_writef_double(file, x, FRAMES), FRAMES);
    sf_close(file);
    free(x);
    return path;
}

static lay_recording *open_good(const char *path) {
    lay_recording *rec = NULL;
    lay_error err = {0};
    if (lay_recording_open(path, 0, &rec, &err) != LAY_OK) fail_msg("%s: %s", path, err.message);
    return rec;
}

/* Reads all in blocks of `block`, returns frames read; caller frees *out. */
static size_t read_all(lay_recording *rec, size_t block, double **out) {
    const lay_recording_info *info = lay_recording_get_info(rec);
    size_t channels = (size_t)info->channels, total = 0, got;
    *out = calloc(((size_t)info->frames + block) * channels, sizeof **out);
    do {
        assert_int_equal(lay_recording_read(rec, *out + total * channels, block, &got, NULL), LAY_OK);
        total += got;
    } while (got == block && total <= (size_t)info->frames);
    return total;
}

static double channel_rms(const double *x, size_t frames, int channels, int c) {
    double sum = 0;
    for (size_t i = 0; i < frames; i++)
        sum += x[i * (size_t)channels + (size_t)c] * x[i * (size_t)channels + (size_t)c];
    return sqrt(sum / (double)frames);
}

static const struct {
    const char *name;
    int format;
    double tolerance; /* per sample; 0: lossy, only levels count */
    bool integer, lossy;
} kinds[] = {
    {"u8.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 2.0 / 127, true, false},
    {"16.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 2.0 / 32767, true, false},
    {"24.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 2.0 / 8388607, true, false},
    {"32.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_32, 2.0 / 2147483647, true, false},
    {"float.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 1e-7, false, false},
    {"double.wav", SF_FORMAT_WAV | SF_FORMAT_DOUBLE, 1e-15, false, false},
    {"16.rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_16, 2.0 / 32767, true, false},
    {"24.w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24, 2.0 / 8388607, true, false},
    {"16.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 2.0 / 32767, true, false},
    {"float.aiff", SF_FORMAT_AIFF | SF_FORMAT_FLOAT, 1e-7, false, false},
    {"24.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24, 2.0 / 8388607, true, false},
    {"alac.caf", SF_FORMAT_CAF | SF_FORMAT_ALAC_24, 2.0 / 8388607, true, false},
    {"8.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_S8, 2.0 / 127, true, false},
    {"16.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 2.0 / 32767, true, false},
    {"24.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 2.0 / 8388607, true, false},
    {"vorbis.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 0, false, true},
    {"mulaw.au", SF_FORMAT_AU | SF_FORMAT_ULAW, 0, false, true},
    {"adpcm.wav", SF_FORMAT_WAV | SF_FORMAT_IMA_ADPCM, 0, false, true},
};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

static void check_samples(const double *x, size_t frames, double rate, double tolerance) {
    for (size_t i = 0; i < frames; i++)
        for (int c = 0; c < 2; c++) assert_close(x[2 * i + (size_t)c], wave(c, (int64_t)i, rate), tolerance, 0);
}

static void every_format(void **state) {
    (void)state;
    for (size_t k = 0; k < KINDS; k++) {
        int rate = 44100;
        lay_recording *rec = open_good(make_file(kinds[k].name, kinds[k].format, rate, 2));
        const lay_recording_info *info = lay_recording_get_info(rec);
        double *x;
        size_t n = read_all(rec, 777, &x);
        assert_close(info->rate, rate, 0, 0);
        assert_int_equal(info->channels, 2);
        assert_int_equal(info->integer, kinds[k].integer);
        assert_int_equal(info->lossy, kinds[k].lossy);
        assert_false(info->truncated);
        assert_int_equal(n, info->frames);
        assert_true(n >= FRAMES && n < FRAMES + 2048); /* ADPCM fills its last block */
        assert_close(channel_rms(x, FRAMES, 2, 0), 0.7 / sqrt(2), 0.01, 0);
        assert_close(channel_rms(x, FRAMES, 2, 1), 0.35 / sqrt(2), 0.01, 0);
        if (kinds[k].tolerance > 0) check_samples(x, n, rate, kinds[k].tolerance);
        free(x);
        lay_recording_close(rec);
    }
}

static void many_channels_and_odd_rates(void **state) {
    (void)state;
    static const int rates[] = {11025, 51200, 192000};
    for (size_t r = 0; r < 3; r++) {
        lay_recording *rec = open_good(make_file("many.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, rates[r], 24));
        double *x;
        size_t n = read_all(rec, 1000, &x);
        assert_int_equal(n, FRAMES);
        assert_close(lay_recording_get_info(rec)->rate, rates[r], 0, 0);
        for (int c = 0; c < 24; c++) assert_close(x[5000 * 24 + c], wave(c, 5000, rates[r]), 1e-6, 0);
        free(x);
        lay_recording_close(rec);
    }
}

static void float_values_stay_as_they_are(void **state) {
    (void)state;
    const double values[] = {0, 3.5, -120.25, NAN, INFINITY, -INFINITY, 1e-20};
    const char *path = scratch_path("raw.wav");
    SF_INFO info = {.samplerate = 48000, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_DOUBLE};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    sf_write_double(file, values, 7);
    sf_close(file);
    lay_recording *rec = open_good(path);
    double *x;
    assert_int_equal(read_all(rec, 3, &x), 7);
    assert_memory_equal(x, values, sizeof values);
    free(x);
    lay_recording_close(rec);
}

static void rewinding_delivers_the_same(void **state) {
    (void)state;
    static const size_t tested[] = {1, 10, 13, 14, 15}; /* WAV, ALAC, FLAC, FLAC, Vorbis */
    for (size_t k = 0; k < sizeof tested / sizeof tested[0]; k++) {
        lay_recording *rec = open_good(make_file(kinds[tested[k]].name, kinds[tested[k]].format, 48000, 2));
        double *first, *second;
        size_t n = read_all(rec, 512, &first);
        assert_int_equal(lay_recording_rewind(rec, NULL), LAY_OK);
        assert_int_equal(read_all(rec, 999, &second), n);
        assert_memory_equal(first, second, n * 2 * sizeof *first);
        free(first);
        free(second);
        lay_recording_close(rec);
    }
}

/* The end is the end, however often one asks. */
static void reading_past_the_end(void **state) {
    (void)state;
    lay_recording *rec = open_good(make_file("end.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 2));
    double *x, more[20];
    size_t got = 99;
    assert_int_equal(read_all(rec, 5000, &x), FRAMES);
    assert_int_equal(lay_recording_read(rec, more, 10, &got, NULL), LAY_OK);
    assert_int_equal(got, 0);
    assert_int_equal(lay_recording_read(rec, more, 0, &got, NULL), LAY_OK);
    free(x);
    lay_recording_close(rec);
    lay_recording_close(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_format),
        cmocka_unit_test(many_channels_and_odd_rates),
        cmocka_unit_test(float_values_stay_as_they_are),
        cmocka_unit_test(rewinding_delivers_the_same),
        cmocka_unit_test(reading_past_the_end),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
