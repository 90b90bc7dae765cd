/* Envelope spectra where something is uncommon: whole orders, wide bands, silence, short recordings, gaps. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/struck.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* 64 steps of a body's turn, filled by pieces of 1/64 turn of the reference: at whole orders no step may stay empty. */
static void whole_orders_keep_their_lines(void **state) {
    (void)state;
    static const double locked[] = {1, 2, 4, 1.5};
    struck s = {.rate = 24000, .seconds = 40, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 1);
    const double m = 0.3;
    for (size_t i = 0; i < s.frames; i++) {
        double swing = 1, turns = struck_turns(&s, (double)i / s.rate);
        for (int k = 0; k < 4; k++) swing += k == 3 || k == 0 ? 0 : m * cos(2 * LAY_PI * locked[k] * turns);
        s.x[i] *= sqrt(swing > 0 ? swing : 0);
    }
    lay_envelope_spectrum e = {0};
    lay_envelope_options o = {.locked = locked, .locked_count = 4};
    assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
    double amplitude[4] = {0};
    for (size_t l = 0; l < 4; l++)
        for (size_t b = 0; b < e.elementary; b++)
            amplitude[l] += (double)e.lines[(l * e.band_count + b) * LAY_LOCKED_LINES].re / (double)e.elementary;
    assert_close(amplitude[1], m, 0.03, 0);
    assert_close(amplitude[2], m, 0.03, 0);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

static void noise_of_whole_orders_is_one_in_mean(void **state) {
    (void)state;
    static const double locked[] = {1, 2, 4, 1.5};
    struck s = {.rate = 24000, .seconds = 40, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 2);
    lay_envelope_spectrum e = {0};
    lay_envelope_options o = {.locked = locked, .locked_count = 4};
    assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
    for (size_t l = 0; l < 4; l++) {
        double sum = 0;
        for (size_t b = 0; b < e.elementary; b++)
            for (size_t n = 0; n < 4; n++)
                sum += (double)e.lines[(l * e.band_count + b) * LAY_LOCKED_LINES + n].ratio / 4 / (double)e.elementary;
        /* the energy is taken over pieces of a 64th turn: at order 4 some of it is smoothed away */
        assert_close(sum, 1, 0.3, 0);
    }
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Bands of several bins (above 24 kHz) sum over them; noise must not be taken for a tone there. */
static void wide_bands_are_heard(void **state) {
    (void)state;
    struck s = {.rate = 200000, .seconds = 8, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 3);
    for (size_t i = 0; i < s.frames; i++)
        s.x[i] *= 1 + 0.1 * cos(2 * LAY_PI * 3.5 * struck_turns(&s, (double)i / s.rate));
    lay_envelope_spectrum e = struck_spectrum(&s);
    for (size_t b = struck_band(&e, 20000); b < e.elementary; b += 6)
        assert_close(e.bands[struck_band(&e, 60000)].kurtosis, 0, 0.2, 0);
    assert_true(struck_ratio(&e, struck_band(&e, 60000), 3.5, 1, NULL) >
                struck_ratio(&e, struck_band(&e, 20000), 3.5, 1, NULL));
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* At 75 turns/s a quarter of a millisecond is seven degrees. */
static void angles_hold_at_speed(void **state) {
    (void)state;
    const double order = 0.64;
    struck s = {.rate = 24000, .seconds = 20, .low_hz = 75, .high_hz = 75, .channels = 1};
    struck_make(&s, 1, 31);
    struck_rings(&s, &(struck_train){
                         .order = 0.64, .first = 0.3, .hz = 6000, .decay_s = 0.0001, .amplitude = 30, .channel = -1});
    lay_envelope_spectrum e = {0};
    lay_envelope_options o = {.locked = &order, .locked_count = 1};
    assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
    double re = 0, im = 0;
    for (size_t b = 0; b < e.elementary; b++) {
        re += (double)e.lines[b * LAY_LOCKED_LINES].re;
        im += (double)e.lines[b * LAY_LOCKED_LINES].im;
    }
    assert_close(-atan2(im, re) * 180 / LAY_PI, 108, 2, 0);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

static void lines_of_unions_have_mean_one(void **state) {
    (void)state;
    const double order = 0.731, m = 0.2;
    struck s = {.rate = 24000, .seconds = 40, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 3);
    for (size_t i = 0; i < s.frames; i++)
        s.x[i] *= 1 + m * cos(2 * LAY_PI * order * struck_turns(&s, (double)i / s.rate));
    lay_envelope_spectrum e = {0};
    lay_envelope_options o = {.locked = &order, .locked_count = 1};
    assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
    assert_close((double)e.lines[e.elementary * LAY_LOCKED_LINES].re, 2 * m, 0.05, 0);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Six minutes of digital silence after sound: the running means underflow. */
static void long_silence_leaves_a_number(void **state) {
    (void)state;
    struck s = {.rate = 6000, .seconds = 460, .low_hz = 5, .high_hz = 5, .channels = 1};
    struck_make(&s, 1, 3);
    for (size_t i = 6000 * 20; i < 6000 * 455; i++) s.x[i] = 0;
    lay_envelope_spectrum e = struck_spectrum(&s);
    for (size_t b = 0; b < e.band_count; b++) assert_true(isfinite(e.bands[b].kurtosis));
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* A recording shorter than its shaft: the segment is halved. */
static void short_recording_of_a_long_shaft(void **state) {
    (void)state;
    struck s = {.rate = 16000, .seconds = 60, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 3);
    s.frames = 16000 * 2;
    lay_envelope_spectrum e = {0};
    assert_int_equal(struck_analyse(&s, (lay_envelope_options){0}, 0, &e, NULL), LAY_OK);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Too short by a few samples: said, and nothing half made is handed on. */
static void too_short_leaves_nothing(void **state) {
    (void)state;
    struck s = {.rate = 16000, .seconds = 0.3, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 3);
    lay_envelope_spectrum e = {0};
    assert_int_equal(struck_analyse(&s, (lay_envelope_options){0}, 0, &e, NULL), LAY_BAD_INPUT);
    assert_int_equal(e.band_count, 0);
    assert_null(e.ratio);
    struck_free(&s);
}

/* Two stretches of one segment each: 2 x 8 turns are analysed. */
static void revolutions_count_every_stretch(void **state) {
    (void)state;
    struck s = {.rate = 16000, .seconds = 0.8, .low_hz = 25, .high_hz = 25, .channels = 1};
    struck_make(&s, 1, 3);
    free(s.shaft.segment_start);
    s.shaft.segment_start = lay_calloc(2, sizeof(size_t));
    s.shaft.segment_start[1] = 101;
    s.shaft.segment_count = 2;
    lay_envelope_spectrum e = {0};
    assert_int_equal(struck_analyse(&s, (lay_envelope_options){0}, 0, &e, NULL), LAY_OK);
    assert_close(e.revolutions, 8.0 * (double)e.segments, 0.1, 0);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_orders_keep_their_lines),
        cmocka_unit_test(noise_of_whole_orders_is_one_in_mean),
        cmocka_unit_test(wide_bands_are_heard),
        cmocka_unit_test(angles_hold_at_speed),
        cmocka_unit_test(lines_of_unions_have_mean_one),
        cmocka_unit_test(long_silence_leaves_a_number),
        cmocka_unit_test(short_recording_of_a_long_shaft),
        cmocka_unit_test(too_short_leaves_nothing),
        cmocka_unit_test(revolutions_count_every_stretch),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
