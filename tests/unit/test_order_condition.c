/* Condition of a gear from one turn. The worked values are those of references.md section 3 (definitions: Lebold et
 * al., 54th MFPT (2000) 623; Stewart 1977; Martin 1989; Zakrajsek et al., NASA TM-105950 and TM-106467; from memory
 * there), reproduced numerically by it. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { N = 4096, MESH = 20 };

static const int twenty = MESH;
static const lay_condition_options options = {
    .teeth = &twenty, .mesh_count = 1, .harmonics = 2, .shaft = -1, .sidebands = -1};

static double theta(size_t i) {
    return 2 * LAY_PI * (double)i / N;
}

static lay_condition condition_of(const double *x) {
    lay_condition c;
    lay_error err = {0};
    assert_int_equal(lay_condition_of(x, N, NULL, 0, &options, &c, &err), LAY_OK);
    return c;
}

static void mesh_harmonics_alone(void **state) {
    (void)state;
    static double x[N];
    for (size_t i = 0; i < N; i++) x[i] = cos(20 * theta(i)) + 0.5 * cos(40 * theta(i));
    lay_condition c = condition_of(x);
    assert_close(c.fm0, 1.5, 1e-5, 0);
    assert_close(c.rms, 0.790569, 1e-6, 0);
    assert_close(c.crest, 1.897367, 1e-6, 0);
    assert_true(isnan(c.fm4) && isnan(c.m6a) && isnan(c.m8a) && isnan(c.na4)); /* nothing is left: not computable */
    assert_true(isnan(c.worst_turn) && isnan(c.residual_kurtosis));
}

static void amplitude_modulation(void **state) {
    (void)state;
    static double x[N];
    for (size_t i = 0; i < N; i++) x[i] = (1 + 0.2 * cos(theta(i))) * cos(20 * theta(i)) + 0.5 * cos(40 * theta(i));
    lay_condition c = condition_of(x);
    assert_close(c.slf, 0.250982, 1e-6, 0);
    assert_close(c.si, 0.1, 1e-9, 0);
    assert_close(c.rms, 0.796869, 1e-6, 0);
    assert_close(c.residual_kurtosis, 2.25, 1e-9, 0);
    assert_close(c.fm0, 1.70617, 1e-4, 0);
    assert_true(isnan(c.fm4));
}

static void a_line_beside(void **state) {
    (void)state;
    static double x[N];
    for (size_t i = 0; i < N; i++)
        x[i] = (1 + 0.2 * cos(theta(i))) * cos(20 * theta(i)) + 0.5 * cos(40 * theta(i)) + 0.1 * cos(7 * theta(i));
    lay_condition c = condition_of(x);
    assert_close(c.fm4, 1.5, 1e-9, 0);
    assert_close(c.m6a, 2.5, 1e-9, 0);
    assert_close(c.m8a, 4.375, 1e-9, 0);
    assert_close(c.er, 0.0887357, 1e-7, 0);
    assert_close(c.slf, 0.25, 1e-4, 0);
}

static void na4_reacts_to_growth(void **state) {
    (void)state;
    static double records[4 * N];
    const double amplitude[] = {1, 1, 1, 2}, expected[] = {1.5, 1.5, 1.5, 7.836735};
    for (size_t r = 0; r < 4; r++)
        for (size_t i = 0; i < N; i++) records[r * N + i] = amplitude[r] * cos(7 * theta(i)) + cos(20 * theta(i));
    for (size_t r = 0; r < 4; r++) {
        lay_condition c;
        assert_int_equal(lay_condition_of(records + r * N, N, records, r + 1, &options, &c, NULL), LAY_OK);
        assert_close(c.na4, expected[r], 1e-6, 0);
        assert_close(c.fm4, 1.5, 1e-9, 0);
    }
}

/* Gaussian: 3, 15, 105; square wave 1, triangle 1.8; 0/1 pulses of duty p: (1 - 3p(1-p)) / (p(1-p)). */
static void moments_of_known_shapes(void **state) {
    (void)state;
    enum { LONG = 1 << 16 };
    static double x[LONG];
    static const int one = 3;
    const lay_condition_options none = {.teeth = &one, .mesh_count = 1, .harmonics = 1, .shaft = 0, .sidebands = 0};
    lay_random random;
    lay_condition c;
    lay_random_seed(&random, 11);
    for (size_t i = 0; i < LONG; i++) x[i] = lay_random_normal(&random);
    assert_int_equal(lay_condition_of(x, LONG, NULL, 0, &none, &c, NULL), LAY_OK);
    assert_close(c.fm4, 3, 0.08, 0); /* four standard errors of 65536 points */
    assert_close(c.m6a, 15, 1.6, 0);
    assert_close(c.m8a, 105, 30, 0);
    assert_close(c.na4, 3, 0.08, 0);
    for (size_t i = 0; i < LONG; i++) x[i] = i % 2 ? 1 : -1;
    assert_int_equal(lay_condition_of(x, LONG, NULL, 0, &none, &c, NULL), LAY_OK);
    assert_close(c.kurtosis, 1, 1e-12, 0);
    for (size_t i = 0; i < LONG; i++) x[i] = fabs(fmod((double)i + 0.5, 4096) - 2048);
    assert_int_equal(lay_condition_of(x, LONG, NULL, 0, &none, &c, NULL), LAY_OK);
    assert_close(c.kurtosis, 1.8, 1e-3, 0);
    for (size_t i = 0; i < 50000; i++) x[i] = i % 100 == 0;
    assert_int_equal(lay_condition_of(x, 50000, NULL, 0, &none, &c, NULL), LAY_OK);
    assert_close(c.kurtosis, 98.0101, 1e-3, 0);
}

/* Amplitude (1 + 0.2 cos) and phase 0.3 sin once per turn come out of the band as they went in. */
static void modulation_comes_out(void **state) {
    (void)state;
    static double x[N];
    for (size_t i = 0; i < N; i++)
        x[i] = (1 + 0.2 * cos(theta(i))) * cos(20 * theta(i) + 0.3 * sin(theta(i)) + 0.7) + 0.5 * cos(40 * theta(i));
    lay_gear_signals s;
    assert_int_equal(lay_gear_signals_of(x, N, &options, &s, NULL), LAY_OK);
    for (size_t i = 0; i < N; i++) {
        assert_close(s.amplitude[i], 1 + 0.2 * cos(theta(i)), 1e-4, 0);
        assert_close(s.phase[i], 0.7 + 0.3 * sin(theta(i)), 1e-4, 0);
        assert_close(s.regular[i] + s.difference[i], x[i], 1e-12, 0);
    }
    lay_gear_signals_free(&s);
}

/* A disturbance over one tooth is found where it is. */
static void the_worst_tooth(void **state) {
    (void)state;
    static double x[N];
    for (int tooth = 0; tooth < MESH; tooth += 3) {
        double centre = (tooth + 0.5) / MESH;
        for (size_t i = 0; i < N; i++) {
            double turn = (double)i / N, off = remainder(turn - centre, 1) * MESH;
            x[i] = cos(20 * theta(i)) + 0.3 * exp(-8 * off * off) * cos(2 * LAY_PI * 4.3 * off);
        }
        lay_condition c = condition_of(x);
        assert_close(fabs(remainder(c.worst_turn - centre, 1)), 0, 0.5 / MESH, 0);
        assert_true(c.worst_ratio > 8);
        assert_true(c.fm4 > 8);
    }
}

/* Lines of every wheel on the shaft are taken off. */
static void a_second_wheel_on_the_shaft(void **state) {
    (void)state;
    static double x[N];
    static const int teeth[] = {20, 33};
    const lay_condition_options both = {.teeth = teeth, .mesh_count = 2, .shaft = -1, .sidebands = -1};
    for (size_t i = 0; i < N; i++)
        x[i] = cos(20 * theta(i)) + cos(33 * theta(i)) + 0.01 * cos(34 * theta(i)) + 0.1 * cos(7 * theta(i));
    lay_gear_signals s;
    assert_int_equal(lay_gear_signals_of(x, N, &both, &s, NULL), LAY_OK);
    for (size_t i = 0; i < N; i++) assert_close(s.difference[i], 0.1 * cos(7 * theta(i)), 1e-9, 0);
    lay_gear_signals_free(&s);
}

static void what_cannot_be_is_refused(void **state) {
    (void)state;
    static double x[64];
    static const int none = 0, many = 40;
    lay_condition c;
    lay_gear_signals s;
    const lay_condition_options bad[] = {
        {.teeth = &none, .mesh_count = 1}, {.teeth = &many, .mesh_count = 1}, {.mesh_count = 0}};
    for (size_t i = 0; i < 3; i++) {
        lay_error err = {0};
        assert_int_equal(lay_condition_of(x, 64, NULL, 0, &bad[i], &c, &err), LAY_BAD_INPUT);
        assert_true(strlen(err.message) > 20);
        assert_int_equal(lay_gear_signals_of(x, 64, &bad[i], &s, &err), LAY_BAD_INPUT);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mesh_harmonics_alone),
        cmocka_unit_test(amplitude_modulation),
        cmocka_unit_test(a_line_beside),
        cmocka_unit_test(na4_reacts_to_growth),
        cmocka_unit_test(moments_of_known_shapes),
        cmocka_unit_test(modulation_comes_out),
        cmocka_unit_test(the_worst_tooth),
        cmocka_unit_test(a_second_wheel_on_the_shaft),
        cmocka_unit_test(what_cannot_be_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
