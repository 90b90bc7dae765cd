/* Properties of the transform at random sizes and signals, as FFT authors test theirs (linearity, shift,
 * energy), and the slow definition beside it. */
#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <limits.h>
#include <math.h>
#include <stdlib.h>

#define MOST 600

static double x[MOST], y[MOST], back[MOST];
static double fx[MOST + 2], fy[MOST + 2], fz[MOST + 2];
static lay_random r;

static lay_fft *new_fft(size_t n) {
    lay_fft *fft = NULL;
    lay_error err;
    assert_int_equal(lay_fft_new(n, &fft, &err), LAY_OK);
    assert_int_equal(lay_fft_size(fft), n);
    return fft;
}

static void fill(double *v, size_t n) {
    for (size_t i = 0; i < n; i++) v[i] = lay_random_normal(&r);
}

/* X[k] = sum x[i] exp(-2 pi j i k / n) */
static void slow_transform(const double *v, size_t n, double *pairs) {
    for (size_t k = 0; k <= n / 2; k++) {
        pairs[2 * k] = pairs[2 * k + 1] = 0.0;
        for (size_t i = 0; i < n; i++) {
            double angle = 2.0 * LAY_PI * (double)(i * k % n) / (double)n;
            pairs[2 * k] += v[i] * cos(angle);
            pairs[2 * k + 1] -= v[i] * sin(angle);
        }
    }
}

static double energy_of(const double *pairs, size_t n) {
    double sum = 0.0;
    for (size_t k = 0; k <= n / 2; k++) {
        double power = pairs[2 * k] * pairs[2 * k] + pairs[2 * k + 1] * pairs[2 * k + 1];
        sum += k == 0 || 2 * k == n ? power : 2.0 * power;
    }
    return sum / (double)n;
}

static void check_size(size_t n) {
    lay_fft *fft = new_fft(n);
    double tolerance = 1e-13 * (double)n, energy = 0.0;
    fill(x, n);
    lay_fft_forward(fft, x, fx);
    slow_transform(x, n, fy);
    for (size_t i = 0; i < 2 * (n / 2 + 1); i++) assert_close(fx[i], fy[i], tolerance, 0);
    for (size_t i = 0; i < n; i++) energy += x[i] * x[i];
    assert_close(energy_of(fx, n), energy, 0, 1e-12); /* Parseval */
    lay_fft_backward(fft, fx, back);
    for (size_t i = 0; i < n; i++) assert_close(back[i], x[i], 1e-13, 0);

    fill(y, n);
    lay_fft_forward(fft, y, fy);
    for (size_t i = 0; i < n; i++) back[i] = 2.0 * x[i] - 3.0 * y[i];
    lay_fft_forward(fft, back, fz);
    for (size_t i = 0; i < 2 * (n / 2 + 1); i++) assert_close(fz[i], 2.0 * fx[i] - 3.0 * fy[i], tolerance, 0);
    lay_fft_free(fft);
}

static void transforms_of_many_sizes(void **state) {
    (void)state;
    lay_random_seed(&r, 11);
    for (size_t n = 2; n < 40; n++) check_size(n);
    for (int i = 0; i < 25; i++) check_size((size_t)lay_random_int(&r, 40, MOST));
}

static void two_plans_give_the_same_bits(void **state) {
    (void)state;
    lay_random_seed(&r, 12);
    fill(x, 480);
    lay_fft *a = new_fft(480), *b = new_fft(480);
    lay_fft_forward(a, x, fx);
    lay_fft_forward(b, x, fy);
    assert_memory_equal(fx, fy, 482 * sizeof *fx);
    lay_fft_free(a);
    lay_fft_free(b);
}

static void impossible_sizes_are_refused(void **state) {
    (void)state;
    lay_error err;
    lay_fft *fft = (lay_fft *)(void *)x;
    assert_int_equal(lay_fft_new(0, &fft, &err), LAY_BAD_INPUT);
    assert_null(fft);
    assert_int_equal(lay_fft_new(1, &fft, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_fft_new((size_t)INT_MAX + 1, &fft, &err), LAY_BAD_INPUT);
    lay_fft_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(transforms_of_many_sizes),
        cmocka_unit_test(two_plans_give_the_same_bits),
        cmocka_unit_test(impossible_sizes_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
