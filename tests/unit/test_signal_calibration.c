/* Reference quantities: ISO 1683:2015, acceleration 1 um/s2, sound pressure in air 20 uPa (20 uPa: value from memory
 * of ISO 1683). */
#include "support/close.h"
#include "support/cmocka_all.h"

#include <layshaft/signal.h>
#include <math.h>

static double level(lay_quantity quantity, double rms) {
    return 20 * log10(rms) + lay_quantity_offset_db(quantity);
}

static void levels_of_known_quantities(void **state) {
    (void)state;
    assert_close(level(LAY_ACCELERATION, 1), 120, 1e-9, 0);
    assert_close(level(LAY_ACCELERATION, 9.80665), 139.830, 5e-4, 0); /* 1 g */
    assert_close(level(LAY_PRESSURE, 1), 93.979, 5e-4, 0);
    assert_close(level(LAY_PRESSURE, 1.00237), 94, 5e-5, 0); /* the common calibrators of 94 and 114 dB */
    assert_close(level(LAY_PRESSURE, 10.0237), 114, 5e-5, 0);
    assert_close(level(LAY_PRESSURE, 20e-6), 0, 1e-9, 0);
    assert_close(level(LAY_FULL_SCALE, 1), 0, 1e-12, 0);
}

static void references_are_named(void **state) {
    (void)state;
    assert_string_equal(lay_quantity_reference(LAY_ACCELERATION), "1 um/s2");
    assert_string_equal(lay_quantity_reference(LAY_PRESSURE), "20 uPa");
    assert_string_equal(lay_quantity_reference(LAY_FULL_SCALE), "full scale");
    assert_string_equal(lay_quantity_reference((lay_quantity)77), "full scale");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_of_known_quantities),
        cmocka_unit_test(references_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
