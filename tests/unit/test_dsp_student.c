/* Student's t against published values. */
#include <layshaft/dsp.h>

#include "support/cmocka_all.h"

#include <math.h>

/* Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.10 (percentage points of t), from memory of the
 * table: P(T > t) = p. */
static void test_table(void **state) {
    (void)state;
    static const struct {
        double dof, p, t;
    } rows[] = {{1, 0.025, 12.706}, {2, 0.025, 4.303},  {5, 0.05, 2.015},     {10, 0.025, 2.228}, {10, 0.005, 3.169},
                {30, 0.005, 2.750}, {60, 0.025, 2.000}, {120, 0.0005, 3.373}, {4, 0.0005, 8.610}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double t = lay_student_threshold(rows[i].p, rows[i].dof);
        if (fabs(t - rows[i].t) > 0.0006)
            fail_msg("dof %g, p %g: %.4f, not %.3f", rows[i].dof, rows[i].p, t, rows[i].t);
        assert_true(fabs(lay_student_survival(t, rows[i].dof) / rows[i].p - 1) < 1e-9);
    }
}

/* Two degrees of freedom have a closed form: P(T > t) = (1 - t / sqrt(2 + t^2)) / 2; one is Cauchy's. Many are normal.
 */
static void test_closed_forms(void **state) {
    (void)state;
    for (double t = -6; t <= 6; t += 0.5) {
        assert_true(fabs(lay_student_survival(t, 2) - 0.5 * (1 - t / sqrt(2 + t * t))) < 1e-12);
        assert_true(fabs(lay_student_survival(t, 1) - (0.5 - atan(t) / LAY_PI)) < 1e-12);
        assert_true(fabs(lay_student_survival(t, 1e6) - lay_normal_survival(t)) < 1e-5);
        assert_true(fabs(lay_student_survival(t, 3.7) + lay_student_survival(-t, 3.7) - 1) < 1e-12);
    }
}

static void test_nonsense(void **state) {
    (void)state;
    assert_true(isnan(lay_student_survival(1, 0)));
    assert_true(isnan(lay_student_threshold(0, 5)));
    assert_true(isnan(lay_student_threshold(1, 5)));
    assert_true(fabs(lay_student_threshold(0.5, 5)) < 1e-9);
    assert_true(lay_student_threshold(0.9, 5) < 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_table), cmocka_unit_test(test_closed_forms),
                                       cmocka_unit_test(test_nonsense)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
