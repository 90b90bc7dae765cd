/* The shaft's angle curve, the local fit behind it, and the smoother. */
#include <layshaft/speed.h>

#include "speed/build.h"
#include "speed/pulses.h"
#include "speed/smooth.h"
#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <stdlib.h>

/* Three pulses one turn apart; check values of references computed from the formulas of Fyfe and Munck, MSSP 11 (1997)
 * 187. */
static void three_pulses(void **state) {
    (void)state;
    const double t[] = {0, 0.1, 0.19}, angle[] = {0, 2 * LAY_PI, 4 * LAY_PI};
    double b[3];
    assert_true(lay_quadratic_fit(t, angle, 3, 0, b));
    assert_close(b[0], 0, 1e-12, 0);
    assert_close(b[1], 59.1574757, 5e-8, 0);
    assert_close(b[2], 36.7437738, 2e-7, 0); /* the last digit there is rounded up */
    const double expected[] = {0, 0.05146074, 0.1, 0.14606519, 0.19};
    for (int k = 0; k < 5; k++) {
        double time = (sqrt(4 * b[2] * (k * LAY_PI - b[0]) + b[1] * b[1]) - b[1]) / (2 * b[2]);
        assert_close(time, expected[k], 5e-9, 0);
    }
}

/* 10 turns/s speeding up by 20 turns/s^2: pulse times and coefficients of the same source. */
static void run_up_pulses(void **state) {
    (void)state;
    const double t[] = {0, 0.0916079783, 0.1708203932, 0.2416198487};
    const double angle[] = {0, 2 * LAY_PI, 4 * LAY_PI, 6 * LAY_PI};
    double b[3];
    for (int first = 0; first < 2; first++) {
        assert_true(lay_quadratic_fit(t + first, angle + first, 3, 0, b));
        assert_close(b[1], 62.831853, 1e-5, 0);
        assert_close(b[2], 62.831853, 1e-5, 0);
    }
    const double steady[] = {0, 0.1, 0.2};
    assert_true(lay_quadratic_fit(steady, angle, 3, 0, b));
    assert_close(b[2], 0, 1e-10, 0);
    const double same[] = {1, 1, 1};
    assert_false(lay_quadratic_fit(same, angle, 3, 1, b));
}

/* Two segments: 10 -> 30 turns/s in 2 s, a gap, then 5 turns/s. */
static lay_shaft two_segments(void) {
    lay_shaft_builder b = {0};
    lay_shaft s = {0};
    for (int i = 0; i <= 20; i++) {
        double t = 0.1 * i;
        assert_int_equal(lay_shaft_add(&b, t, 10 * t + 5 * t * t, 10 + 10 * t, NULL), LAY_OK);
    }
    lay_shaft_break(&b);
    for (int i = 0; i <= 3; i++) assert_int_equal(lay_shaft_add(&b, 4 + i, 100 + 5 * i, 5, NULL), LAY_OK);
    assert_int_equal(lay_shaft_build(&b, LAY_OK, LAY_SPEED_TACH, &s, NULL), LAY_OK);
    return s;
}

static void there_and_back(void **state) {
    (void)state;
    lay_shaft s = two_segments();
    double turns, hz, t;
    size_t hint = 0;
    assert_int_equal(s.segment_count, 2);
    for (double at = 0; at <= 2.0; at += 0.0237) {
        assert_true(lay_shaft_at(&s, at, &hint, &turns, &hz));
        assert_close(turns, 10 * at + 5 * at * at, 1e-12, 1e-12);
        assert_close(hz, 10 + 10 * at, 0, 1e-11);
        assert_true(lay_shaft_time(&s, 0, turns, NULL, &t));
        assert_close(t, at, 1e-13, 1e-13);
    }
    assert_true(lay_shaft_time(&s, 1, 107.5, NULL, &t));
    assert_close(t, 5.5, 0, 1e-14);
    lay_shaft_free(&s);
}

static void outside(void **state) {
    (void)state;
    lay_shaft s = two_segments();
    double turns, hz, t;
    size_t far = 1000;
    assert_true(lay_shaft_at(&s, 2.0, NULL, &turns, &hz)); /* the ends belong to their segments */
    assert_close(turns, 40, 0, 1e-12);
    assert_true(lay_shaft_at(&s, 4.0, &far, &turns, &hz));
    assert_true(lay_shaft_at(&s, 7.0, NULL, &turns, &hz));
    assert_false(lay_shaft_at(&s, 2.0001, NULL, &turns, &hz));
    assert_false(lay_shaft_at(&s, 3.9999, NULL, &turns, &hz));
    assert_false(lay_shaft_at(&s, -1e-9, NULL, &turns, &hz));
    assert_false(lay_shaft_at(&s, 7.0001, NULL, &turns, &hz));
    assert_false(lay_shaft_at(&s, NAN, NULL, &turns, &hz));
    assert_false(lay_shaft_time(&s, 0, 40.001, NULL, &t));
    assert_false(lay_shaft_time(&s, 1, 99.9, NULL, &t));
    assert_false(lay_shaft_time(&s, 2, 100, NULL, &t));
    assert_false(lay_shaft_time(&s, 0, NAN, NULL, &t));
    lay_shaft_free(&s);
    lay_shaft_free(&s); /* twice does no harm */
    assert_false(lay_shaft_at(&s, 0, NULL, &turns, &hz));
}

static void range_of_it(void **state) {
    (void)state;
    lay_shaft s = two_segments();
    double low, mean, high, turns;
    lay_shaft_range(&s, &low, &mean, &high, &turns);
    assert_close(low, 5, 0, 1e-12);
    assert_close(high, 30, 0, 1e-12);
    assert_close(turns, 55, 0, 1e-12);
    assert_close(mean, 55 / 5.0, 0, 1e-12);
    lay_shaft_free(&s);
}

/* Whatever speeds are claimed at the knots, the angle rises between them. */
static void always_rising(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 3);
    lay_shaft_builder b = {0};
    lay_shaft s = {0};
    double t = 0, turns = 0;
    for (int i = 0; i < 200; i++) {
        t += lay_random_between(&r, 0.001, 0.2);
        turns += lay_random_between(&r, 0.0001, 3);
        assert_int_equal(lay_shaft_add(&b, t, turns, lay_random_between(&r, 0.01, 3000), NULL), LAY_OK);
    }
    assert_int_equal(lay_shaft_add(&b, t - 1, turns + 1, 1, NULL), LAY_OK); /* dropped: back in time */
    assert_int_equal(lay_shaft_build(&b, LAY_OK, LAY_SPEED_LOG, &s, NULL), LAY_OK);
    assert_int_equal(s.count, 200);
    double last = -1, now, hz;
    for (double at = s.time[0]; at < s.time[199]; at += 0.0007) {
        assert_true(lay_shaft_at(&s, at, NULL, &now, &hz));
        assert_true(now > last && hz > 0);
        last = now;
    }
    lay_shaft_free(&s);
}

static void constant(void **state) {
    (void)state;
    lay_shaft s = {0};
    lay_error err = {0};
    double turns, hz;
    assert_int_equal(lay_shaft_constant(29.95, 12.5, &s, &err), LAY_OK);
    assert_true(lay_shaft_at(&s, 7.7, NULL, &turns, &hz));
    assert_close(turns, 29.95 * 7.7, 0, 1e-14);
    assert_close(hz, 29.95, 0, 1e-14);
    lay_shaft_free(&s);
    assert_int_equal(lay_shaft_constant(0, 1, &s, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_shaft_constant(10, NAN, &s, &err), LAY_BAD_INPUT);
    assert_null(s.time);
}

/* The banded smoother against the full system solved by Gauss. */
static void smoother(void **state) {
    (void)state;
    enum { N = 23 };
    static const double d[4][4] = {{1}, {-1, 1}, {1, -2, 1}, {-1, 3, -3, 1}};
    lay_random r;
    lay_random_seed(&r, 9);
    for (int order = 2; order <= 3; order++) {
        double y[N], w[N], z[N], a[N * N] = {0}, rhs[N];
        for (int i = 0; i < N; i++) {
            y[i] = lay_random_normal(&r);
            w[i] = lay_random_between(&r, 0.1, 5);
            a[i * N + i] = w[i];
            rhs[i] = w[i] * y[i];
        }
        for (int row = 0; row + order < N; row++)
            for (int i = 0; i <= order; i++)
                for (int j = 0; j <= order; j++) a[(row + i) * N + row + j] += 2.385 * d[order][i] * d[order][j];
        assert_int_equal(lay_smooth(y, w, N, order, 2.385, z, NULL), LAY_OK);
        assert_true(lay_solve(a, rhs, N));
        for (int i = 0; i < N; i++) assert_close(z[i], rhs[i], 1e-12, 1e-11);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_pulses), cmocka_unit_test(run_up_pulses), cmocka_unit_test(there_and_back),
        cmocka_unit_test(outside),      cmocka_unit_test(range_of_it),   cmocka_unit_test(always_rising),
        cmocka_unit_test(constant),     cmocka_unit_test(smoother),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
