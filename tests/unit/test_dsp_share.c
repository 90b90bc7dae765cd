/* The score interval of a share against scipy.stats.binomtest(k, n).proportion_ci(0.95, 'wilson') of scipy 1.10. */
#include <layshaft/dsp.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#define Z95 1.959963984540054 /* normal quantile at 0.975 */

static void test_against_scipy(void **state) {
    (void)state;
    static const struct {
        int k, n;
        double low, high;
    } cases[] = {{11, 12, 0.6461200888588831, 0.985134905595083},
                 {0, 5, 0.0, 0.43448246478317476},
                 {5, 5, 0.5655175352168251, 1.0},
                 {40, 100, 0.3094012864324589, 0.4979974132089382}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double low, high;
        lay_share_interval(cases[i].k, cases[i].n, Z95, &low, &high);
        assert_close(low, cases[i].low, 1e-12, 0);
        assert_close(high, cases[i].high, 1e-12, 0);
    }
}

static void test_nothing_known(void **state) {
    (void)state;
    double low, high;
    lay_share_interval(0, 0, Z95, &low, &high);
    assert_close(low, 0, 0, 0);
    assert_close(high, 1, 0, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_against_scipy), cmocka_unit_test(test_nothing_known)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
