/* Reference quantities of levels.
 *
 * [ISO1683] ISO 1683:2015, preferred reference values for acoustical and vibratory levels: acceleration 1 um/s2,
 * sound pressure in air 20 uPa. */
#include <layshaft/signal.h>

static const struct {
    const char *reference;
    double offset_db; /* -20 lg of the reference in m/s2 or Pa */
} quantities[] = {
    [LAY_FULL_SCALE] = {"full scale", 0},
    [LAY_ACCELERATION] = {"1 um/s2", 120},
    [LAY_PRESSURE] = {"20 uPa", 93.979400086720376}, /* -20 lg 20e-6 */
};

static bool is_known(lay_quantity quantity) {
    return (size_t)quantity < sizeof quantities / sizeof quantities[0];
}

const char *lay_quantity_reference(lay_quantity quantity) {
    return is_known(quantity) ? quantities[quantity].reference : quantities[LAY_FULL_SCALE].reference;
}

double lay_quantity_offset_db(lay_quantity quantity) {
    return is_known(quantity) ? quantities[quantity].offset_db : 0;
}
