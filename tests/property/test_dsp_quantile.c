/* Quantiles against sorting: the slow obvious way beside the fast one. */
#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST 400

static lay_random r;
static double x[MOST], out[MOST], part[MOST];

static int by_value(const void *a, const void *b) {
    double u = *(const double *)a, v = *(const double *)b;
    return (u > v) - (u < v);
}

static double sorted_quantile(const double *v, size_t n, double q) {
    double copy[MOST];
    memcpy(copy, v, n * sizeof *v);
    qsort(copy, n, sizeof *copy, by_value);
    double rank = q * (double)(n - 1);
    size_t k = (size_t)rank;
    double share = rank - (double)k;
    return share == 0.0 ? copy[k] : (1.0 - share) * copy[k] + share * copy[k + 1];
}

/* Smooth values, or few different ones as silence and coarse converters give. */
static void fill(size_t n) {
    int kinds = lay_random_int(&r, 0, 3);
    for (size_t i = 0; i < n; i++)
        x[i] = kinds == 0   ? lay_random_normal(&r)
               : kinds == 1 ? lay_random_int(&r, 0, 3)
               : kinds == 2 ? (double)i
                            : 7.0;
}

static double random_q(void) {
    return lay_random_int(&r, 0, 4) == 0 ? lay_random_int(&r, 0, 2) / 2.0 : lay_random_unit(&r);
}

static void selecting_equals_sorting(void **state) {
    (void)state;
    lay_random_seed(&r, 31);
    for (int i = 0; i < 3000; i++) {
        size_t n = (size_t)lay_random_int(&r, 1, i % 10 ? 40 : MOST);
        double q = random_q();
        fill(n);
        double expected = sorted_quantile(x, n, q);
        memcpy(part, x, n * sizeof *x);
        assert_close(lay_quantile(part, n, q), expected, 1e-12, 0);
        qsort(part, n, sizeof *part, by_value); /* nothing is lost by the reordering */
        qsort(x, n, sizeof *x, by_value);
        assert_memory_equal(part, x, n * sizeof *x);
    }
}

static void sliding_equals_sorting_every_window(void **state) {
    (void)state;
    lay_random_seed(&r, 32);
    for (int i = 0; i < 400; i++) {
        size_t n = (size_t)lay_random_int(&r, 1, i % 10 ? 60 : MOST);
        size_t width = (size_t)lay_random_int(&r, 0, (int)(2 * n));
        double q = random_q();
        fill(n);
        assert_int_equal(lay_running_quantile(x, n, width, q, out, NULL), LAY_OK);
        for (size_t k = 0; k < n; k++) {
            size_t half = width / 2, first = k > half ? k - half : 0, last = k + half < n ? k + half : n - 1;
            assert_close(out[k], sorted_quantile(x + first, last - first + 1, q), 1e-12, 0);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(selecting_equals_sorting),
        cmocka_unit_test(sliding_equals_sorting_every_window),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
