/* Powers in digital full scale become levels re the references of ISO 1683. */
#include <layshaft/signal.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>

/* ISO 1683: acceleration re 1 um/s2, sound pressure re 20 uPa; 94 dB of a sound calibrator is 1.00237 Pa. */
static void test_levels(void **state) {
    (void)state;
    lay_run_spec accel = {.full_scale = 1.0, .quantity = LAY_ACCELERATION},
                 sound = {.full_scale = 63.2, .quantity = LAY_PRESSURE},
                 plain = {.full_scale = 1.0, .quantity = LAY_FULL_SCALE};
    assert_close(lay_level_db(1.0, &accel), 120.0, 1e-9, 0);
    assert_close(lay_level_db(9.80665 * 9.80665, &accel), 139.830, 5e-4, 0);
    assert_close(lay_level_db(0.5, &accel), 116.990, 5e-4, 0);
    accel.full_scale = 490.3;
    assert_close(lay_level_db(1.0 / (490.3 * 490.3), &accel), 120.0, 1e-9, 0);
    assert_close(lay_level_db(1.00237 * 1.00237 / (63.2 * 63.2), &sound), 94.0, 5e-4, 0);
    assert_close(lay_level_db(0.25, &plain), -6.0206, 1e-4, 0);
}

static void test_no_level(void **state) {
    (void)state;
    lay_run_spec spec = {.full_scale = 1.0};
    assert_true(isnan(lay_level_db(0.0, &spec)));
    assert_true(isnan(lay_level_db(-1.0, &spec)));
    assert_true(isnan(lay_level_db(NAN, &spec)));
    spec.full_scale = -1.0;
    assert_true(isnan(lay_level_db(1.0, &spec)));
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_levels), cmocka_unit_test(test_no_level)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
