/* A recording at the rate of a device: tones keep their level and place, what the device cannot hold is left out. */
#include "signal/play_source.h"

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <math.h>
#include <stdio.h>

enum { FRAMES = 20000, MOST = 200000 };

static float out[2 * MOST];

/* Frames that come out when the tones x (frequency, amplitude; one per channel) are played in blocks of 777. */
static size_t played(double rate, const double (*tones)[2], int channels, double to, int ears, double gain) {
    lay_writer *w = NULL;
    lay_recording *r = NULL;
    lay_play_source *s = NULL;
    const char *path = scratch_path("played.wav");
    remove(path);
    assert_int_equal(lay_writer_open(path, LAY_FILE_WAV_FLOAT, rate, channels, &w, NULL), LAY_OK);
    for (int i = 0; i < FRAMES; i++) {
        double x[3];
        for (int c = 0; c < channels; c++) x[c] = tones[c][1] * sin(2 * LAY_PI * tones[c][0] * i / rate);
        assert_int_equal(lay_writer_write(w, x, 1, NULL), LAY_OK);
    }
    assert_int_equal(lay_writer_close(w, NULL), LAY_OK);
    assert_int_equal(lay_recording_open(path, 0, &r, NULL), LAY_OK);
    assert_int_equal(lay_play_source_new(r, to, ears, gain, &s, NULL), LAY_OK);
    size_t n = 0, got = 777;
    while (got == 777 && n + 777 < MOST) {
        assert_int_equal(lay_play_source_read(s, out + n * (size_t)ears, 777, &got, NULL), LAY_OK);
        n += got;
    }
    lay_play_source_free(s);
    lay_recording_close(r);
    return n;
}

/* Farthest from amplitude * sin, the ends of the recording left out. */
static void assert_tone(size_t n, int ears, int ear, double hz, double rate, double amplitude, double error) {
    for (size_t i = 200; i + 200 < n; i++)
        assert_close((double)out[i * (size_t)ears + (size_t)ear], amplitude * sin(2 * LAY_PI * hz * (double)i / rate),
                     error, 0);
}

static void the_same_rate_is_left_alone(void **state) {
    (void)state;
    const double tones[][2] = {{440, 0.25}, {700, 0.5}, {900, 0.5}};
    size_t n = played(16000, tones, 3, 16000, 2, 1);
    assert_int_equal(n, FRAMES);
    assert_tone(n, 2, 0, 440, 16000, 0.25, 1e-7);
    assert_tone(n, 2, 1, 700, 16000, 0.5, 1e-7);
}

static void one_channel_is_heard_on_both_sides(void **state) {
    (void)state;
    const double tones[][2] = {{440, 0.5}};
    size_t n = played(16000, tones, 1, 16000, 2, 0.5);
    assert_int_equal(n, FRAMES);
    for (int ear = 0; ear < 2; ear++) assert_tone(n, 2, ear, 440, 16000, 0.25, 1e-7);
}

/* Up and down, within -70 dB of the tone, and as long as it was. */
static void other_rates_keep_tones(void **state) {
    (void)state;
    static const double rates[][2] = {{16000, 48000}, {51200, 48000}, {44100, 48000}, {192000, 44100}, {8000, 48000}};
    for (size_t k = 0; k < sizeof rates / sizeof rates[0]; k++) {
        const double tones[][2] = {{0.3 * fmin(rates[k][0], rates[k][1]), 0.5}};
        size_t n = played(rates[k][0], tones, 1, rates[k][1], 1, 1);
        assert_close((double)n, FRAMES * rates[k][1] / rates[k][0], 1, 0);
        assert_tone(n, 1, 0, tones[0][0], rates[k][1], 0.5, 0.5 * 3e-4);
    }
}

static void what_the_device_cannot_hold_is_left_out(void **state) {
    (void)state;
    const double tones[][2] = {{30000, 0.5}};
    size_t n = played(96000, tones, 1, 44100, 1, 1);
    assert_tone(n, 1, 0, 0, 44100, 0, 0.5 * 3e-4);
}

static void loud_samples_are_held(void **state) {
    (void)state;
    const double tones[][2] = {{440, 3}};
    size_t n = played(16000, tones, 1, 16000, 1, 1);
    for (size_t i = 0; i < n; i++) assert_true(fabsf(out[i]) <= 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_rate_is_left_alone), cmocka_unit_test(one_channel_is_heard_on_both_sides),
        cmocka_unit_test(other_rates_keep_tones),      cmocka_unit_test(what_the_device_cannot_hold_is_left_out),
        cmocka_unit_test(loud_samples_are_held),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
