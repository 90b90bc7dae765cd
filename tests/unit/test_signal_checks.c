/* Each check fires on a constructed defect and keeps silent on sound recordings. */
#include "support/close.h"
#include "support/cmocka_all.h"

#include <layshaft/signal.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 48000.0
enum { SECONDS = 8, COUNT = 48000 * SECONDS };

static double x[COUNT]; /* the signal under test */

/* ---- signals ---- */

static void fill_noise(lay_random *r, double rms) {
    for (int i = 0; i < COUNT; i++) x[i] = rms * lay_random_normal(r);
}

static void add_sine(double amplitude, double hz, double phase) {
    for (int i = 0; i < COUNT; i++) x[i] += amplitude * sin(2 * LAY_PI * hz * i / RATE + phase);
}

static void quantise(int bits) {
    double scale = ldexp(1, bits - 1);
    for (int i = 0; i < COUNT; i++) x[i] = fmax(-scale, fmin(scale - 1, rint(x[i] * scale))) / scale;
}

/* A run-up or run-down from `from` to `to` rpm: combustion, a whining mesh, rumble and hiss that rise with speed, and a
 * change of load that alters the mix within 0.2 s. */
static void fill_engine(lay_random *r, double from, double to) {
    double angle = 0, rumble = 0, change = lay_random_between(r, 2, SECONDS - 2);
    double mesh = lay_random_int(r, 17, 40), whine = lay_random_between(r, 0.001, 0.03);
    for (int i = 0; i < COUNT; i++) {
        double t = i / RATE, rpm = from + (to - from) * fmin(1, t / (0.8 * SECONDS));
        double load = 0.4 + 0.6 / (1 + exp(-(t - change) / 0.03)), loud = rpm / 4000;
        angle += 2 * LAY_PI * rpm / 60 / RATE;
        rumble += 0.01 * (lay_random_normal(r) - rumble);
        double firing = exp(-6 * (1 - cos(2 * angle)));
        x[i] = loud * (0.3 * load * sin(2 * angle) + 0.1 * sin(4 * angle + 1) + whine * load * sin(mesh * angle) +
                       0.3 * whine * sin(2 * mesh * angle) + 0.5 * rumble +
                       0.02 * (0.3 + firing * load) * lay_random_normal(r)) +
               1e-4 * lay_random_normal(r);
    }
}

/* ---- running the checks ---- */

static lay_channel_check run_checks(double rate, bool integer, size_t count) {
    lay_check *check;
    lay_channel_check result;
    lay_error err = {0};
    assert_int_equal(lay_check_new(rate, 1, integer, &check, &err), LAY_OK);
    for (size_t at = 0; at < count;) {
        size_t part = count - at < 4099 ? count - at : 4099; /* not a divisor of anything */
        assert_int_equal(lay_check_feed(check, x + at, part, &err), LAY_OK);
        at += part;
    }
    assert_int_equal(lay_check_finish(check, &result, &err), LAY_OK);
    lay_check_free(check);
    return result;
}

static void assert_clean(bool integer, const char *what, int seed) {
    lay_channel_check c = run_checks(RATE, integer, COUNT);
    lay_text text = {0};
    lay_check_describe(&c, 1, RATE, COUNT, &text);
    if (text.length > 0) fail_msg("%s, seed %d: %s", what, seed, text.text);
    if (c.clipped > 0) fail_msg("%s, seed %d: clipping", what, seed);
}

static void assert_described(const lay_channel_check *c, const char *fragment) {
    lay_text text = {0};
    lay_check_describe(c, 3, RATE, COUNT, &text);
    if (text.text == NULL || strstr(text.text, fragment) == NULL || strncmp(text.text, "channel 3: ", 11) != 0)
        fail_msg("'%s' is missing in: %s", fragment, text.text ? text.text : "nothing");
    assert_int_equal(text.text[text.length - 1], '\n');
    lay_text_free(&text);
}

/* ---- sound recordings ---- */

static void noise_is_clean(void **state) {
    (void)state;
    static const int bits[] = {8, 12, 16, 24};
    lay_random r;
    for (int seed = 0; seed < 24; seed++) {
        lay_random_seed(&r, (uint64_t)seed);
        fill_noise(&r, lay_random_between(&r, 0.02, 0.2));
        assert_clean(false, "float noise", seed);
        quantise(bits[seed % 4]);
        assert_clean(true, "noise", seed);
    }
}

static void engines_are_clean(void **state) {
    (void)state;
    lay_random r;
    for (int seed = 0; seed < 24; seed++) {
        lay_random_seed(&r, 100 + (uint64_t)seed);
        double a = lay_random_between(&r, 700, 5000), b = seed % 3 == 0 ? a : lay_random_between(&r, 700, 5000);
        fill_engine(&r, a, b);
        assert_clean(false, "engine", seed);
        quantise(16);
        assert_clean(true, "engine", seed);
    }
}

/* Smooth peaks rounded by few bits look flat; tones that fit the rate repeat the same peak for ever. */
static void tones_are_clean(void **state) {
    (void)state;
    static const double tones[] = {3.3, 17, 100.5, 440, 1000, 2000, 4000, 7919};
    static const int bits[] = {8, 16, 24};
    for (int k = 0; k < 8; k++)
        for (int b = 0; b < 4; b++) {
            memset(x, 0, sizeof x);
            add_sine(0.8, tones[k], 0.1 + k);
            if (b < 3) quantise(bits[b]);
            assert_clean(b < 3, "tone", (int)tones[k]);
        }
}

/* ---- numbers ---- */

static void levels(void **state) {
    (void)state;
    memset(x, 0, sizeof x);
    add_sine(0.5, 1000, 0.2);
    for (int i = 0; i < COUNT; i++) x[i] += 0.125;
    lay_channel_check c = run_checks(RATE, true, COUNT);
    assert_close(c.rms, 0.5 / sqrt(2), 1e-9, 0);
    assert_close(c.dc, 0.125, 1e-9, 0);
    assert_close(c.peak, 0.625, 1e-3, 0);
    assert_described(&c, "off zero by 0.13");
    c.dc = 0.01 * c.rms;
    lay_text text = {0};
    lay_check_describe(&c, 1, RATE, COUNT, &text);
    assert_int_equal(text.length, 0);
}

/* A small signal on a large offset keeps its rms. */
static void rms_on_an_offset(void **state) {
    (void)state;
    memset(x, 0, sizeof x);
    add_sine(1e-6 * sqrt(2), 997, 0);
    for (int i = 0; i < COUNT; i++) x[i] += 2;
    assert_close(run_checks(RATE, false, COUNT).rms, 1e-6, 0, 1e-4);
}

/* ---- defects ---- */

static void clip(double low, double high) {
    for (int i = 0; i < COUNT; i++) x[i] = fmax(low, fmin(high, x[i]));
}

static int64_t count_beyond(double low, double high) {
    int64_t n = 0;
    for (int i = 0; i < COUNT; i++) n += x[i] >= high || x[i] <= low;
    return n;
}

static void clipping_at_the_wall(void **state) {
    (void)state;
    lay_random r;
    for (int seed = 0; seed < 6; seed++) {
        lay_random_seed(&r, 7 + (uint64_t)seed);
        fill_noise(&r, 0.02);
        add_sine(1.05, 200 + 300 * seed, seed);
        quantise(seed % 2 ? 16 : 24);
        lay_channel_check c = run_checks(RATE, true, COUNT);
        int64_t at_wall = count_beyond(-1, 1 - ldexp(1, seed % 2 ? -15 : -23));
        assert_true((double)c.clipped > 0.9 * (double)at_wall && c.clipped <= at_wall);
        assert_close(c.clip_level, 1, 1e-4, 0);
        assert_described(&c, "turn the input level down and record again");
    }
}

/* Clipped by an amplifier before the recorder: flat below full scale, on one side only. */
static void clipping_below_full_scale(void **state) {
    (void)state;
    lay_random r;
    for (int k = 0; k < 4; k++) {
        lay_random_seed(&r, 70 + (uint64_t)k);
        fill_engine(&r, 1500, 3000);
        clip(-9, 0.11);
        if (k % 2) quantise(16);
        lay_channel_check c = run_checks(RATE, k % 2, COUNT);
        assert_true(c.clipped > 1000);
        assert_close(c.clip_level, 0.11, 1e-4, 0);
        assert_described(&c, "clipped at 0.11 of full scale");
    }
}

/* Tops of several milliseconds are clipping, not drop-outs. */
static void long_flat_tops(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 12);
    fill_noise(&r, 0.02);
    add_sine(1, 60, 0);
    clip(-0.3, 0.3);
    lay_channel_check c = run_checks(RATE, false, COUNT);
    assert_int_equal(c.dropouts, 0);
    assert_true(c.clipped > COUNT / 2);
}

static void few_clipped_samples_are_a_note(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 5);
    fill_noise(&r, 0.1);
    x[1000] = x[1001] = x[1002] = 32767.0 / 32768;
    lay_channel_check c = run_checks(RATE, true, COUNT);
    assert_int_equal(c.clipped, 3);
    assert_described(&c, "too few to do harm");
}

static void drop_outs(void **state) {
    (void)state;
    lay_random r;
    static const int starts[] = {5000, 24000 - 100, 120000 /* where a block starts */, 250000},
                     lengths[] = {144, 480, 4800, 2400};
    for (int seed = 0; seed < 6; seed++) {
        lay_random_seed(&r, (uint64_t)seed);
        if (seed % 2)
            fill_noise(&r, 0.1);
        else
            fill_engine(&r, 1000, 3000);
        quantise(16);
        for (int k = 0; k < 4; k++)
            for (int i = 0; i < lengths[k]; i++) x[starts[k] + i] = seed < 3 ? 0 : x[starts[k] - 1];
        for (int i = 0; i < 9000; i++) x[COUNT - 1 - i] = 0; /* recorder stopped: no drop-out */
        lay_channel_check c = run_checks(RATE, true, COUNT);
        assert_int_equal(c.dropouts, 4);
        assert_close(c.dropout_s, (144 + 480 + 4800 + 2400) / RATE, 8 / RATE, 0);
        assert_described(&c, "stands still 4 times");
    }
}

/* Two milliseconds are below the limit; a quiet recording of few steps stands still by itself. */
static void no_drop_outs(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 9);
    fill_noise(&r, 0.1);
    for (int i = 0; i < 96; i++) x[70000 + i] = 0;
    assert_int_equal(run_checks(RATE, true, COUNT).dropouts, 0);
    fill_noise(&r, 0.25 / 32768);
    quantise(16);
    assert_int_equal(run_checks(RATE, true, COUNT).dropouts, 0);
}

static void values_that_are_no_numbers(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 2);
    fill_noise(&r, 0.1);
    double clean = run_checks(RATE, false, COUNT).rms;
    x[0] = NAN;
    x[77777] = INFINITY;
    x[77778] = -INFINITY;
    x[COUNT - 1] = 1e200;
    lay_channel_check c = run_checks(RATE, false, COUNT);
    assert_int_equal(c.not_a_number, 4);
    assert_close(c.rms, clean, 0, 1e-3);
    assert_true(c.peak < 1 && !c.silent);
    assert_described(&c, "4 samples are not a usable number");
    for (int i = 0; i < 100; i++) x[i] = NAN;
    c = run_checks(RATE, false, 100);
    assert_int_equal(c.not_a_number, 100);
    assert_true(c.silent);
}

static void silence(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 2);
    memset(x, 0, sizeof x);
    assert_true(run_checks(RATE, true, COUNT).silent);
    for (int i = 0; i < COUNT; i++) x[i] = 0.25; /* constant */
    lay_channel_check c = run_checks(RATE, true, COUNT);
    assert_true(c.silent);
    assert_described(&c, "no signal");
    fill_noise(&r, 1e-6);
    assert_true(run_checks(RATE, false, COUNT).silent);
    fill_noise(&r, 1e-4);
    assert_false(run_checks(RATE, false, COUNT).silent);
    assert_true(run_checks(RATE, true, 0).silent);
    assert_true(run_checks(RATE, true, 1).silent);
}

/* Gain that drops within 20 ms and comes back a second later, four times. */
static void automatic_gain(void **state) {
    (void)state;
    lay_random r;
    static const double depths[] = {5.5, 8, 14};
    for (int k = 0; k < 6; k++) {
        lay_random_seed(&r, 300 + (uint64_t)k);
        if (k % 2)
            fill_noise(&r, 0.05);
        else
            fill_engine(&r, 2000, 2300);
        double db = 0, depth = depths[k / 2];
        for (int i = 0; i < COUNT; i++) {
            double target = fmod(i / RATE, 2) < 1 ? 0 : -depth;
            db += (target - db) / (0.01 * RATE);
            x[i] *= pow(10, db / 20);
        }
        lay_channel_check c = run_checks(RATE, false, COUNT);
        if (k % 2)
            assert_close(c.gain_steps_db, depth, 0.5, 0);
        else
            assert_true(c.gain_steps_db > depth - 1.5 && c.gain_steps_db < depth + 8); /* load adds up to 8 dB */
        assert_described(&c, "switch automatic gain off");
    }
}

/* Hand on the knob, once up and once down, is no automatic gain. */
static void manual_gain(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 4);
    fill_noise(&r, 0.05);
    for (int i = 2 * 48000; i < 5 * 48000; i++) x[i] *= 2.5;
    assert_close(run_checks(RATE, false, COUNT).gain_steps_db, 0, 0, 0);
}

/* A level that swells and fades, and a load that changes the colour of the noise, again and again. */
static void swelling_and_colour(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 41);
    fill_noise(&r, 0.05);
    for (int i = 0; i < COUNT; i++) { /* 10 dB down in a second, held, and up again */
        double phase = fmod(i / RATE, 4), rest = phase < 2 ? fmin(1, fmax(0, phase - 1)) : fmin(1, 4 - phase);
        x[i] *= pow(10, -0.5 * rest);
    }
    assert_close(run_checks(RATE, false, COUNT).gain_steps_db, 0, 0, 0);
    fill_noise(&r, 0.01);
    double last = 0;
    for (int i = 0; i < COUNT; i++) {
        double hiss = lay_random_normal(&r);
        if (fmod(i / RATE, 2) < 1) x[i] += 0.05 * (hiss - 0.9 * last) + 0.03 * lay_random_normal(&r);
        last = hiss;
    }
    assert_close(run_checks(RATE, false, COUNT).gain_steps_db, 0, 0, 0);
}

static void mains_hum(void **state) {
    (void)state;
    lay_random r;
    static const double rates[] = {48000, 44100, 51200, 12000};
    for (int k = 0; k < 8; k++) {
        double mains = k % 2 ? 60.02 : 49.98, scale = RATE / rates[k / 2]; /* x is sampled at rates[k / 2] */
        lay_random_seed(&r, 20 + (uint64_t)k);
        fill_noise(&r, 0.01);
        for (int m = 1; m <= 4; m++) add_sine(0.003 / m, m * mains * scale, m);
        lay_channel_check c = run_checks(rates[k / 2], false, COUNT);
        assert_close(c.mains_hz, k % 2 ? 60 : 50, 0, 0);
        assert_true(c.mains_db > 10 && c.mains_db < 60);
        assert_described(&c, "mains hum");
    }
}

/* Lines near to but not on the grid's frequency, and a single line on it. */
static void no_hum(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 21);
    fill_noise(&r, 0.01);
    for (int m = 1; m <= 4; m++) add_sine(0.003, m * 51.3, m); /* an engine at 3078 rpm */
    assert_close(run_checks(RATE, false, COUNT).mains_hz, 0, 0, 0);
    fill_noise(&r, 0.01);
    for (int m = 1; m <= 4; m++) add_sine(0.003, m * 59.8, m);
    assert_close(run_checks(RATE, false, COUNT).mains_hz, 0, 0, 0);
    fill_noise(&r, 0.01);
    add_sine(0.01, 50, 0);
    assert_close(run_checks(RATE, false, COUNT).mains_hz, 0, 0, 0);
}

/* ---- shape of the interface ---- */

/* The result does not depend on how the samples arrive, and channels do not mix. */
static void blocks_and_channels(void **state) {
    (void)state;
    enum { CHANNELS = 3, PART = 30000 };
    static double frames[PART * CHANNELS];
    lay_random r;
    lay_random_seed(&r, 6);
    lay_channel_check single, many[CHANNELS];
    lay_check *check;
    fill_engine(&r, 1500, 2500);
    clip(-9, 0.2);
    single = run_checks(RATE, true, PART);
    memset(frames, 0, sizeof frames);
    for (int i = 0; i < PART; i++) {
        frames[i * CHANNELS + 1] = x[i];
        frames[i * CHANNELS + 2] = 0.5;
    }
    assert_int_equal(lay_check_new(RATE, CHANNELS, true, &check, NULL), LAY_OK);
    for (size_t at = 0; at < PART;) {
        size_t part = (size_t)lay_random_int(&r, 1, 3000);
        if (part > PART - at) part = PART - at;
        lay_check_feed(check, frames + at * CHANNELS, part, NULL);
        at += part;
    }
    assert_int_equal(lay_check_finish(check, many, NULL), LAY_OK);
    lay_check_free(check);
    assert_memory_equal(&many[1], &single, sizeof single);
    assert_true(many[0].silent && many[2].silent);
}

static void odd_rates_and_bad_requests(void **state) {
    (void)state;
    static const double good[] = {0.5, 7, 100, 999, 4302, 8000, 192000, 1e6, 1e7};
    lay_random r;
    lay_random_seed(&r, 8);
    fill_noise(&r, 0.1);
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        lay_channel_check c = run_checks(good[i], false, 200000);
        assert_close(c.rms, 0.1, 0.002, 0);
    }
    static const double bad[] = {0, -1, 1e9, NAN, INFINITY};
    lay_check *check;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_int_equal(lay_check_new(bad[i], 1, false, &check, NULL), LAY_BAD_INPUT);
    assert_int_equal(lay_check_new(48000, 0, false, &check, NULL), LAY_BAD_INPUT);
    assert_int_equal(lay_check_new(48000, 2000000000, false, &check, NULL), LAY_BAD_INPUT);
    assert_null(check);
    lay_check_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_is_clean),
        cmocka_unit_test(engines_are_clean),
        cmocka_unit_test(tones_are_clean),
        cmocka_unit_test(levels),
        cmocka_unit_test(rms_on_an_offset),
        cmocka_unit_test(clipping_at_the_wall),
        cmocka_unit_test(clipping_below_full_scale),
        cmocka_unit_test(long_flat_tops),
        cmocka_unit_test(few_clipped_samples_are_a_note),
        cmocka_unit_test(drop_outs),
        cmocka_unit_test(no_drop_outs),
        cmocka_unit_test(values_that_are_no_numbers),
        cmocka_unit_test(silence),
        cmocka_unit_test(automatic_gain),
        cmocka_unit_test(manual_gain),
        cmocka_unit_test(swelling_and_colour),
        cmocka_unit_test(mains_hum),
        cmocka_unit_test(no_hum),
        cmocka_unit_test(blocks_and_channels),
        cmocka_unit_test(odd_rates_and_bad_requests),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
