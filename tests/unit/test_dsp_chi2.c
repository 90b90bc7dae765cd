#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>

/* Abramowitz and Stegun 1964, table 26.8: percentage points of chi-square (value from memory of it). */
static void percentage_points_are_those_of_the_tables(void **state) {
    (void)state;
    const struct {
        double p, dof, x;
    } rows[] = {
        {0.05, 1, 3.84146},  {0.01, 1, 6.63490},  {0.05, 2, 5.99146},  {0.05, 10, 18.3070},  {0.95, 10, 3.94030},
        {0.001, 6, 22.4577}, {0.99, 5, 0.554298}, {0.05, 30, 43.7730}, {0.95, 100, 77.9295}, {0.005, 100, 140.169},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_close(lay_chi2_threshold(rows[i].p, rows[i].dof), rows[i].x, 0, 6e-6);
        assert_close(lay_chi2_survival(rows[i].x, rows[i].dof), rows[i].p, 0, 1e-4);
    }
}

/* 95 % interval of a noise spectrum in dB, 10 lg(dof / x(0.025)) to 10 lg(dof / x(0.975)): Solomon 1991
 * (SAND91-1533) derives it; figures recomputed independently. */
static void confidence_of_a_noise_spectrum(void **state) {
    (void)state;
    const struct {
        double dof, low, high;
    } rows[] = {{2, -5.67, 15.97}, {8, -3.41, 5.65},   {16, -2.56, 3.65}, {32, -1.89, 2.43},
                {64, -1.38, 1.65}, {100, -1.13, 1.30}, {200, -0.81, 0.90}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double dof = rows[i].dof;
        assert_close(lay_db_power(dof / lay_chi2_threshold(0.025, dof)), rows[i].low, 6e-3, 0);
        assert_close(lay_db_power(dof / lay_chi2_threshold(0.975, dof)), rows[i].high, 6e-3, 0);
    }
}

/* Closed forms, NIST DLMF 8.4: Q(1, x) = exp(-x), Q(1/2, x) = erfc(sqrt x), Q(n, x) a finite sum. */
static void closed_forms_agree(void **state) {
    (void)state;
    for (double x = 1e-6; x < 700.0; x *= 1.7) {
        assert_close(lay_gamma_q(1.0, x), exp(-x), 1e-15, 1e-12);
        assert_close(lay_gamma_q(0.5, x), erfc(sqrt(x)), 1e-15, 1e-12);
        for (int n = 2; n < 60; n += 3) {
            double term = exp(-x), sum = term;
            for (int k = 1; k < n; k++) sum += term *= x / k;
            assert_close(lay_gamma_q(n, x), sum, 1e-15, 1e-12);
        }
    }
}

/* Q(a, a) = 1/2 - 1/(3 sqrt(2 pi a)) + O(a^-3/2), NIST DLMF 8.11.12: nothing is lost at large a. */
static void many_degrees_of_freedom_lose_no_digits(void **state) {
    (void)state;
    for (double a = 1e4; a <= 1e7; a *= 10.0)
        assert_close(lay_gamma_q(a, a), 0.5 - 1.0 / (3.0 * sqrt(2.0 * LAY_PI * a)), 0.1 * pow(a, -1.5), 1e-12);
}

static void thresholds_undo_survival(void **state) {
    (void)state;
    const double dofs[] = {0.5, 1, 2, 3, 7.3, 30.42, 200, 4000};
    for (size_t i = 0; i < 8; i++)
        for (double p = 1e-200; p < 0.999; p *= p < 1e-3 ? 1e13 : 1.5) {
            double x = lay_chi2_threshold(p, dofs[i]);
            /* the slope magnifies the last bit of x */
            assert_close(lay_chi2_survival(x, dofs[i]), p, 0, 1e-11 + 1e-15 * x);
        }
}

static void arguments_outside_have_a_defined_answer(void **state) {
    (void)state;
    assert_close(lay_gamma_q(2.0, 0.0), 1.0, 0, 0);
    assert_close(lay_gamma_q(2.0, -1.0), 1.0, 0, 0);
    assert_close(lay_gamma_q(2.0, INFINITY), 0.0, 0, 0);
    assert_close(lay_gamma_q(2.0, 1e300), 0.0, 0, 0);
    assert_true(isnan(lay_gamma_q(0.0, 1.0)) && isnan(lay_gamma_q(NAN, 1.0)) && isnan(lay_gamma_q(1.0, NAN)));
    assert_close(lay_chi2_threshold(1.0, 3.0), 0.0, 0, 0);
    assert_close(lay_chi2_threshold(0.0, 3.0), INFINITY, 0, 0);
    assert_true(isnan(lay_chi2_threshold(1.5, 3.0)) && isnan(lay_chi2_threshold(0.5, -1.0)));
}

/* Abramowitz and Stegun 1964, table 26.1 (value from memory of it). */
static void normal_tail(void **state) {
    (void)state;
    assert_close(lay_normal_survival(0.0), 0.5, 1e-16, 0);
    assert_close(lay_normal_survival(1.0), 0.158655253931457, 0, 1e-13);
    assert_close(lay_normal_survival(1.959963984540054), 0.025, 0, 1e-13);
    assert_close(lay_normal_survival(-1.0), 0.841344746068543, 0, 1e-13);
}

static void logarithmic_sums_do_not_overflow(void **state) {
    (void)state;
    const double big[] = {1000.0, 1000.0}, none[] = {-INFINITY, -INFINITY}, mixed[] = {-INFINITY, 3.0};
    assert_close(lay_log_sum_exp(big, 2), 1000.0 + log(2.0), 1e-12, 0);
    assert_close(lay_log_sum_exp(none, 2), -INFINITY, 0, 0);
    assert_close(lay_log_sum_exp(mixed, 2), 3.0, 1e-15, 0);
    assert_close(lay_log_sum_exp(NULL, 0), -INFINITY, 0, 0);
    assert_close(lay_logistic(0.0), 0.5, 0, 0);
    assert_close(lay_logistic(1e6), 1.0, 0, 0);
    assert_close(lay_logistic(-1e6), 0.0, 0, 0);
    assert_close(lay_logistic(-40.0), exp(-40.0), 0, 1e-14);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(percentage_points_are_those_of_the_tables),
        cmocka_unit_test(confidence_of_a_noise_spectrum),
        cmocka_unit_test(closed_forms_agree),
        cmocka_unit_test(many_degrees_of_freedom_lose_no_digits),
        cmocka_unit_test(thresholds_undo_survival),
        cmocka_unit_test(arguments_outside_have_a_defined_answer),
        cmocka_unit_test(normal_tail),
        cmocka_unit_test(logarithmic_sums_do_not_overflow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
