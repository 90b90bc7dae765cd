/* Lines that belong together, from peaks set by hand. */
#include "speed/family.h"

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>

#define RATE 24000.0
#define SIZE 131072
#define FRAMES 3

static const double orders[] = {1, 2, 3, 4, 5, 6};

/* Harmonics 1..`harmonics` of `base_hz`, and one line more (0: none), alike in every frame. */
static double find(double base_hz, int harmonics, double other_hz, double stated, double *confidence) {
    static lay_peak peaks[FRAMES * LAY_SCAN_PEAKS];
    double log_hz[FRAMES];
    for (size_t f = 0; f < FRAMES; f++)
        for (int i = 0; i < LAY_SCAN_PEAKS; i++) {
            lay_peak *p = &peaks[f * LAY_SCAN_PEAKS + (size_t)i];
            *p = (lay_peak){0};
            if (i < harmonics) *p = (lay_peak){(float)((i + 1) * base_hz), 1000};
            if (i == harmonics && other_hz > 0) *p = (lay_peak){(float)other_hz, 10000};
        }
    lay_scan scan = {.rate = RATE, .n = SIZE, .hop = SIZE / 2, .every = 1, .peaks = peaks, .frames = FRAMES};
    lay_candidates c = {0.95 * stated, 2e-4, 501, orders, NULL, 6};
    assert_int_equal(lay_family_find(&scan, SIZE, &c, log_hz, confidence, NULL), LAY_OK);
    return exp(log_hz[0]);
}

static void harmonics_are_a_family(void **state) {
    (void)state;
    double sure;
    assert_close(find(59.62, 6, 0, 59.0, &sure), 59.62, 0, 2e-5);
    assert_true(sure >= 0.6);
    assert_close(find(59.62, 6, 233, 59.0, &sure), 59.62, 0, 2e-5); /* a louder stranger near the fourth */
    assert_true(sure >= 0.6);
}

static void one_or_two_lines_are_none(void **state) {
    (void)state;
    double sure;
    for (int n = 0; n <= 2; n++) {
        find(59.62, n, 0, 59.0, &sure);
        assert_close(sure, 0, 0, 0);
    }
}

/* Hum lies where a motor without slip would turn. */
static void hum_is_no_shaft(void **state) {
    (void)state;
    double sure;
    find(60, 6, 0, 59.0, &sure);
    assert_close(sure, 0, 0, 0);
    find(50.01, 6, 0, 49.0, &sure);
    assert_close(sure, 0, 0, 0);
    find(50.1, 6, 0, 49.0, &sure);
    assert_true(sure >= 0.6);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(harmonics_are_a_family),
        cmocka_unit_test(one_or_two_lines_are_none),
        cmocka_unit_test(hum_is_no_shaft),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
