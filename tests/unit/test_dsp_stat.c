#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>
#include <string.h>

#define N 10000

static double x[N];

static double sine(double phase) {
    return sin(2.0 * LAY_PI * phase);
}
static double square(double phase) {
    return phase < 0.5 ? 1.0 : -1.0;
}
static double triangle(double phase) {
    return phase < 0.5 ? 4.0 * phase - 1.0 : 3.0 - 4.0 * phase;
}
static double pulse_1(double phase) {
    return phase < 0.00999 ? 1.0 : 0.0;
}
static double pulse_10(double phase) {
    return phase < 0.09999 ? 1.0 : 0.0;
}

/* Kurtosis of known wave shapes follows from their moments: sine 3/2, square 1, triangle 9/5, pulses of
 * duty p (1 - 3p(1-p)) / (p(1-p)). */
static void kurtosis_of_known_shapes(void **state) {
    (void)state;
    const struct {
        double (*shape)(double);
        double kurtosis, tolerance;
    } rows[] = {
        {sine, 1.5, 1e-12},       {square, 1.0, 1e-12},     {triangle, 1.8, 1e-6},
        {pulse_1, 98.0101, 1e-4}, {pulse_10, 8.1111, 1e-4},
    };
    for (size_t r = 0; r < 5; r++)
        for (double scale = 1e-100; scale < 1e101; scale *= 1e100) {
            for (size_t i = 0; i < N; i++) x[i] = scale * rows[r].shape((double)i / N);
            assert_close(lay_kurtosis(x, N), rows[r].kurtosis, rows[r].tolerance, 0);
        }
}

static void kurtosis_of_a_constant_is_not_a_number(void **state) {
    (void)state;
    for (size_t i = 0; i < N; i++) x[i] = 0.1; /* its mean is not exactly 0.1 */
    assert_true(isnan(lay_kurtosis(x, N)));
    assert_true(isnan(lay_kurtosis(x, 1)));
    assert_true(isnan(lay_kurtosis(x, 0)));
}

static void means_of_a_sine(void **state) {
    (void)state;
    for (size_t i = 0; i < N; i++) x[i] = 2.0 + 3.0 * sine((double)i / N);
    assert_close(lay_mean(x, N), 2.0, 1e-12, 0);
    assert_close(lay_rms(x, N), sqrt(4.0 + 4.5), 1e-12, 0);
    assert_close(lay_mean(x, 0), 0.0, 0, 0);
    assert_close(lay_rms(x, 0), 0.0, 0, 0);
}

static void quantiles_are_interpolated(void **state) {
    (void)state;
    const double given[] = {9, 1, 7, 3, 5};
    const struct {
        double q, value;
    } rows[] = {{0, 1}, {0.25, 3}, {0.5, 5}, {0.6, 5.8}, {0.9, 8.2}, {1, 9}, {-1, 1}, {2, 9}};
    for (size_t r = 0; r < sizeof rows / sizeof *rows; r++) {
        memcpy(x, given, sizeof given);
        assert_close(lay_quantile(x, 5, rows[r].q), rows[r].value, 1e-12, 0);
    }
    memcpy(x, given, sizeof given);
    assert_close(lay_median(x, 4), 5.0, 1e-12, 0);
    assert_true(isnan(lay_median(x, 0)));
    assert_close(lay_median(x, 1), x[0], 0, 0);
}

static void nan_ranks_above_every_number(void **state) {
    (void)state;
    double y[] = {NAN, 1, NAN, 2, 3};
    assert_close(lay_quantile(y, 5, 0.5), 3.0, 0, 0);
    assert_close(lay_quantile(y, 5, 0.25), 2.0, 0, 0);
    assert_close(lay_quantile(y, 5, 0.75), INFINITY, 0, 0);
    double out[5];
    const double z[] = {NAN, 1, NAN, 2, 3};
    assert_int_equal(lay_running_quantile(z, 5, 9, 0.5, out, NULL), LAY_OK);
    for (int i = 0; i < 5; i++) assert_close(out[i], 3.0, 0, 0);
}

static void a_running_quantile_refuses_nonsense(void **state) {
    (void)state;
    lay_error err;
    double out[4];
    assert_int_equal(lay_running_quantile(x, 4, 3, NAN, out, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_running_quantile(x, 4, 3, 1.1, out, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_running_quantile(x, 0, 3, 0.5, out, &err), LAY_OK);
}

/* Worked by hand: 2 x1 + x2 = 5, x1 + 3 x2 = 10 gives 1 and 3. */
static void linear_systems_are_solved(void **state) {
    (void)state;
    double a[] = {2, 1, 1, 3}, b[] = {5, 10};
    assert_true(lay_solve(a, b, 2));
    assert_close(b[0], 1.0, 1e-14, 0);
    assert_close(b[1], 3.0, 1e-14, 0);
    double zero_pivot[] = {0, 1, 1, 0}, c[] = {4, 7};
    assert_true(lay_solve(zero_pivot, c, 2));
    assert_close(c[0], 7.0, 0, 0);
    assert_close(c[1], 4.0, 0, 0);
    double singular[] = {1, 2, 3, 4, 5, 6, 7, 8, 9}, d[] = {1, 2, 3};
    assert_false(lay_solve(singular, d, 3));
    double not_a_number[] = {1, NAN, 2, 3}, e[] = {1, 2};
    assert_false(lay_solve(not_a_number, e, 2));
    double nothing[] = {0}, f[] = {0};
    assert_false(lay_solve(nothing, f, 1));
}

/* The Hilbert matrix of order 5 times (1,1,1,1,1): ill conditioned (4.8e5), so 1e-10 must survive. */
static void pivoting_keeps_the_digits(void **state) {
    (void)state;
    double a[25], b[5] = {0};
    for (size_t i = 0; i < 5; i++)
        for (size_t j = 0; j < 5; j++) {
            a[i * 5 + j] = 1.0 / (double)(i + j + 1);
            b[i] += a[i * 5 + j];
        }
    assert_true(lay_solve(a, b, 5));
    for (size_t i = 0; i < 5; i++) assert_close(b[i], 1.0, 1e-10, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(kurtosis_of_known_shapes),
        cmocka_unit_test(kurtosis_of_a_constant_is_not_a_number),
        cmocka_unit_test(means_of_a_sine),
        cmocka_unit_test(quantiles_are_interpolated),
        cmocka_unit_test(nan_ranks_above_every_number),
        cmocka_unit_test(a_running_quantile_refuses_nonsense),
        cmocka_unit_test(linear_systems_are_solved),
        cmocka_unit_test(pivoting_keeps_the_digits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
