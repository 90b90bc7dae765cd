/* Energy averaged over the turn of a body: blows locked to it stand out, at the angle at which they fall. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/struck.h"

#include <math.h>
#include <stdio.h>

static const double bodies[] = {0.64, 1, 0.731, 0.5};
enum { STRUCK, INPUT, OTHER, CYCLE, BODIES };

/* Short rings, so that the energy comes when the blow falls: its centre lies some 0.05 ms behind it. */
static const struck_train blow = {
    .order = 0.64, .first = 0.3, .hz = 6000, .decay_s = 0.0001, .amplitude = 30, .channel = -1};

static lay_envelope_spectrum averaged(const struck *s) {
    lay_envelope_options o = {.locked = bodies, .locked_count = BODIES};
    lay_envelope_spectrum e = {0};
    lay_error err = {0};
    if (struck_analyse(s, o, 0, &e, &err) != LAY_OK) fail_msg("%s", err.message);
    return e;
}

static struck steady(double hz, double turns, uint64_t seed) {
    struck s = {.rate = 24000, .seconds = turns / hz, .low_hz = hz, .high_hz = hz, .channels = 1};
    struck_make(&s, 1, seed);
    return s;
}

static const lay_locked_line *lines_of(const lay_envelope_spectrum *e, size_t body, size_t band) {
    return e->lines + (body * e->band_count + band) * LAY_LOCKED_LINES;
}

/* Line n over the elementary bands: amplitude of their mean, the angle of the blow that fits it (turns of the body,
 * nearest to `near`), and the mean of the ratios. */
typedef struct wide_line {
    double amplitude, angle, ratio;
} wide_line;

static wide_line line_of(const lay_envelope_spectrum *e, size_t body, int n, double near) {
    double re = 0, im = 0, ratio = 0, bands = (double)e->elementary;
    for (size_t b = 0; b < e->elementary; b++) {
        const lay_locked_line *line = &lines_of(e, body, b)[n - 1];
        re += (double)line->re / bands;
        im += (double)line->im / bands;
        ratio += (double)line->ratio / bands;
    }
    double angle = -atan2(im, re) / (2 * LAY_PI * n);
    return (wide_line){hypot(re, im), angle - round((angle - near) * n) / n, ratio};
}

/* One blow per turn makes all lines alike, each of them in step at the angle of the blow; other bodies know nothing of
 * it. */
static void a_blow_stands_at_its_angle(void **state) {
    (void)state;
    struck s = steady(25, 1000, 31);
    struck_rings(&s, &blow);
    lay_envelope_spectrum e = averaged(&s);
    assert_int_equal(e.locked_count, BODIES);
    assert_close(e.locked_turns, 1000, 0.2, 0); /* but for a short spectrum at either end */
    double first = line_of(&e, STRUCK, 1, blow.first).amplitude;
    assert_true(first > 0.1);
    for (int n = 1; n <= 6; n++) {
        wide_line line = line_of(&e, STRUCK, n, blow.first);
        assert_close(line.amplitude, first, 0, 0.1);
        assert_close(360 * line.angle, 360 * blow.first, 2, 0);
        assert_true(line.ratio > 100);
        assert_true(line_of(&e, OTHER, n, 0).ratio < 3);
    }
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* The angle belongs to the body, not to its speed or to the moment the recording starts. */
static void the_angle_stays_while_speed_changes(void **state) {
    (void)state;
    static const double first[] = {0.05, 0.62};
    for (int k = 0; k < 2; k++) {
        struck s = {.rate = 24000, .seconds = 35, .low_hz = 15, .high_hz = 30, .channels = 1};
        struck_train train = blow;
        train.first = first[k];
        struck_make(&s, 1, 32);
        struck_rings(&s, &train);
        lay_envelope_spectrum e = averaged(&s);
        for (int n = 1; n <= 4; n++) assert_close(360 * line_of(&e, STRUCK, n, first[k]).angle, 360 * first[k], 2, 0);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

/* A line cos(2 pi n angle) of the energy with amplitude a comes out with re = a: here noise that swings by m per turn
 * has 2 m / (1 + m^2 / 2) of its mean (references: envelope analysis). */
static void amplitudes_are_shares_of_the_mean(void **state) {
    (void)state;
    const double m = 0.2;
    struck s = steady(25, 1000, 33);
    for (size_t i = 0; i < s.frames; i++)
        s.x[i] *= 1 + m * cos(2 * LAY_PI * (bodies[OTHER] * struck_turns(&s, (double)i / s.rate) - 0.25));
    lay_envelope_spectrum e = averaged(&s);
    wide_line line = line_of(&e, OTHER, 1, 0.25);
    assert_close(line.amplitude, 2 * m / (1 + m * m / 2), 0, 0.04);
    assert_close(360 * line.angle, 90, 3, 0); /* a weak swing: the noise of the average leaves about a degree */
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

/* Noise leaves 1 in mean. Its lines are taken in 64 steps of a turn, which smooths the higher ones, so the first eight
 * count: of 22 bands some half are independent, 8 lines and 4 bodies, exponential each: a deviation of 0.05. */
static void noise_leaves_one_in_mean(void **state) {
    (void)state;
    static const double turns[] = {200, 1000};
    for (int k = 0; k < 2; k++) {
        struck s = steady(25, turns[k], 34);
        lay_envelope_spectrum e = averaged(&s);
        double sum = 0;
        for (size_t body = 0; body < BODIES; body++)
            for (int n = 1; n <= 8; n++) sum += line_of(&e, body, n, 0).ratio / (8 * BODIES);
        printf("  noise over %.0f turns: %.3f in mean\n", turns[k], sum);
        assert_close(sum, 1, 0.2, 0);
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
}

/* Noise falls with the number of turns averaged (Hochmann 2004, statement from memory of the work): four times the
 * turns, four times the ratio. */
static void longer_averages_tell_more(void **state) {
    (void)state;
    double ratio[3];
    for (int k = 0; k < 3; k++) {
        struck s = steady(25, 100 * pow(4, k), 35);
        struck_rings(&s, &blow);
        lay_envelope_spectrum e = averaged(&s);
        ratio[k] = 0;
        for (int n = 1; n <= 6; n++) ratio[k] += line_of(&e, STRUCK, n, 0).ratio / 6;
        lay_envelope_spectrum_free(&e);
        struck_free(&s);
    }
    printf("  100 turns %.1f, 400 turns %.1f, 1600 turns %.1f\n", ratio[0], ratio[1], ratio[2]);
    for (int k = 1; k < 3; k++) assert_close(lay_db_power(ratio[k] / ratio[k - 1]), lay_db_power(4), 1, 0);
}

/* Bodies that do not turn are left out of the list; more than can be held are not averaged. */
static void bodies_that_stand_are_left_out(void **state) {
    (void)state;
    double many[40] = {0, -1, NAN, 1};
    for (int i = 4; i < 40; i++) many[i] = 0.3 + 0.01 * i;
    struck s = steady(25, 50, 36);
    lay_envelope_spectrum e = {0};
    lay_envelope_options o = {.locked = many, .locked_count = 40};
    assert_int_equal(struck_analyse(&s, o, 0, &e, NULL), LAY_OK);
    assert_true(e.locked_count >= 1 && e.locked_count < 40);
    assert_close(e.locked[0], 1, 0, 0);
    for (size_t i = 0; i < e.locked_count; i++) assert_true(e.locked[i] > 0);
    lay_envelope_spectrum_free(&e);
    struck_free(&s);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_blow_stands_at_its_angle),        cmocka_unit_test(the_angle_stays_while_speed_changes),
        cmocka_unit_test(amplitudes_are_shares_of_the_mean), cmocka_unit_test(noise_leaves_one_in_mean),
        cmocka_unit_test(longer_averages_tell_more),         cmocka_unit_test(bodies_that_stand_are_left_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
