/* The average turn of a wheel made by hand: what stands beside the mesh line, and how the mesh is modulated. */
#include "judge/turn.h"

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>

enum { POINTS = 1024, RECORDS = 4, TEETH = 23 };

typedef struct tone {
    int line;
    double amplitude, phase;
} tone;

/* A wheel whose turn holds these tones and whose parts differ by noise of the given rms. */
static lay_look_wheel wheel_of(const tone *tones, size_t count, double noise) {
    lay_look_wheel w = {.teeth = {TEETH, 31}, .mesh_count = 2};
    lay_random random;
    lay_random_seed(&random, 7);
    w.average = (lay_tsa_average){.order = 1, .points = POINTS, .channels = 1, .records = RECORDS};
    w.average.mean = lay_calloc(POINTS, sizeof(double));
    w.average.record = lay_calloc(RECORDS * POINTS, sizeof(double));
    assert_non_null(w.average.mean);
    assert_non_null(w.average.record);
    for (size_t r = 0; r < RECORDS; r++)
        for (size_t i = 0; i < POINTS; i++) {
            double x = noise * lay_random_normal(&random);
            for (size_t k = 0; k < count; k++)
                x += tones[k].amplitude * cos(2 * LAY_PI * tones[k].line * (double)i / POINTS + tones[k].phase);
            w.average.record[r * POINTS + i] = x;
            w.average.mean[i] += x / RECORDS;
        }
    return w;
}

static lay_turn_view look(const tone *tones, size_t count, double noise) {
    lay_look_wheel w = wheel_of(tones, count, noise);
    lay_turn_view view;
    assert_int_equal(lay_turn_look(&w, &view, NULL), LAY_OK);
    lay_tsa_average_free(&w.average);
    return view;
}

/* (1 + 0.2 cos a) cos 23 a: sidebands of 0.1 each, 20 dB below; references.md 2.1, AM of depth m gives m / 2. */
static void amplitude_modulation_is_a_swell(void **state) {
    (void)state;
    const tone tones[] = {{TEETH, 1, 0.3}, {TEETH - 1, 0.1, 0.3 - 1}, {TEETH + 1, 0.1, 0.3 + 1}};
    lay_turn_view v = look(tones, 3, 1e-3);
    assert_true(v.seen);
    assert_int_equal(v.harmonic, 1);
    assert_close(v.side_db[0], -20, 0.1, 0);
    assert_close(v.swell, 0.2, 0.002, 0);
    assert_close(v.swing, 0, 0.002, 0);
    assert_true(v.over_db[0] > 30);
}

/* Phase modulation of index 0.2: J1 / J0 = -19.96 dB, the sidebands in quadrature; values of references.md 2.1. */
static void phase_modulation_is_a_swing(void **state) {
    (void)state;
    const double side = 0.1005; /* J1(0.2) / J0(0.2) */
    const tone tones[] = {{TEETH, 1, 0}, {TEETH + 1, side, LAY_PI / 2}, {TEETH - 1, side, LAY_PI / 2}};
    lay_turn_view v = look(tones, 3, 1e-3);
    assert_close(v.side_db[0], -19.96, 0.1, 0);
    assert_close(v.swing, 0.2, 0.003, 0);
    assert_close(v.swell, 0, 0.003, 0);
}

static void the_strongest_harmonic_is_taken(void **state) {
    (void)state;
    const tone tones[] = {{TEETH, 0.3, 0}, {2 * TEETH, 1, 1}, {2 * TEETH + 2, 0.2, 0}, {2 * TEETH - 2, 0.2, 0}};
    lay_turn_view v = look(tones, 4, 1e-3);
    assert_int_equal(v.harmonic, 2);
    assert_close(v.side_db[1], lay_db_power(0.04), 0.1, 0);
    assert_true(v.side_db[0] < -40);
}

/* 31 is another wheel of this shaft: its mesh is no eighth sideband of ours. */
static void another_wheels_mesh_is_no_sideband(void **state) {
    (void)state;
    const tone tones[] = {{TEETH, 1, 0}, {31, 0.9, 0}};
    lay_turn_view v = look(tones, 2, 1e-3);
    assert_true(v.side_db[7] < -40);
}

static void noise_is_no_sideband(void **state) {
    (void)state;
    const tone tones[] = {{TEETH, 1, 0}};
    lay_turn_view v = look(tones, 1, 0.3);
    assert_true(v.seen);
    for (int k = 0; k < LAY_TURN_SIDES; k++) assert_true(isnan(v.over_db[k]) || v.over_db[k] < 10);
}

static void a_mesh_lost_in_noise_is_not_seen(void **state) {
    (void)state;
    const tone tones[] = {{TEETH, 0.01, 0}};
    assert_false(look(tones, 1, 1).seen);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(amplitude_modulation_is_a_swell),
        cmocka_unit_test(phase_modulation_is_a_swing),
        cmocka_unit_test(the_strongest_harmonic_is_taken),
        cmocka_unit_test(another_wheels_mesh_is_no_sideband),
        cmocka_unit_test(noise_is_no_sideband),
        cmocka_unit_test(a_mesh_lost_in_noise_is_not_seen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
