#include <layshaft/base.h>
#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>

/* First outputs of xoshiro256** (Blackman and Vigna 2018) from the state 1, 2, 3, 4: 11520 = rotl(2 * 5, 7) * 9 by
 * hand, the others value from memory of the test vectors of that generator. */
static void the_first_numbers_follow_the_definition(void **state) {
    (void)state;
    lay_random r = {{1, 2, 3, 4}};
    assert_true(lay_random_bits(&r) == UINT64_C(11520));
    assert_true(lay_random_bits(&r) == UINT64_C(0));
    assert_true(lay_random_bits(&r) == UINT64_C(1509978240));
    assert_true(lay_random_bits(&r) == UINT64_C(1215971899390074240));
}

static void seeding_follows_splitmix64(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 1234567);
    /* splitmix64 from 1234567, value from memory of its published test vector */
    assert_true(r.s[0] == UINT64_C(6457827717110365317));
    assert_true(r.s[1] == UINT64_C(3203168211198807973));
}

static void same_seed_same_numbers(void **state) {
    (void)state;
    lay_random a, b, c;
    lay_random_seed(&a, 5);
    lay_random_seed(&b, 5);
    lay_random_seed(&c, 6);
    int differ = 0;
    for (int i = 0; i < 100; i++) {
        uint64_t bits = lay_random_bits(&a);
        assert_true(bits == lay_random_bits(&b));
        differ += bits != lay_random_bits(&c);
    }
    assert_true(differ > 95);
}

static void whole_numbers_reach_both_ends_equally(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 1);
    int count[7] = {0};
    for (int i = 0; i < 70000; i++) {
        int k = lay_random_int(&r, -3, 3);
        assert_in_range(k + 3, 0, 6);
        count[k + 3]++;
    }
    double chi2 = 0.0;
    for (int i = 0; i < 7; i++) chi2 += (count[i] - 10000.0) * (count[i] - 10000.0) / 10000.0;
    assert_true(chi2 < 22.46); /* 0.999 quantile of chi-square with 6 degrees of freedom (tables) */
    assert_int_equal(lay_random_int(&r, 4, 4), 4);
    (void)lay_random_int(&r, INT32_MIN, INT32_MAX);
}

static void the_distributions_have_their_moments(void **state) {
    (void)state;
    enum { N = 200000 };
    static double x[N];
    lay_random r;
    lay_random_seed(&r, 2);
    for (int i = 0; i < N; i++) {
        x[i] = lay_random_unit(&r);
        assert_true(x[i] >= 0.0 && x[i] < 1.0);
    }
    assert_close(lay_mean(x, N), 0.5, 0.003, 0);
    for (int i = 0; i < N; i++) x[i] = lay_random_normal(&r);
    assert_close(lay_mean(x, N), 0.0, 0.01, 0); /* four standard errors */
    assert_close(lay_rms(x, N), 1.0, 0.007, 0);
    assert_close(lay_kurtosis(x, N), 3.0, 0.05, 0);
    for (int i = 0; i < 1000; i++) {
        double v = lay_random_between(&r, -2.0, 5.0);
        assert_true(v >= -2.0 && v < 5.0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_first_numbers_follow_the_definition),
        cmocka_unit_test(seeding_follows_splitmix64),
        cmocka_unit_test(same_seed_same_numbers),
        cmocka_unit_test(whole_numbers_reach_both_ends_equally),
        cmocka_unit_test(the_distributions_have_their_moments),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
