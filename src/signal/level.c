#include <layshaft/signal.h>

#include <math.h>

double lay_level_db(double power, const lay_run_spec *spec) {
    double units = power * spec->full_scale * spec->full_scale;
    if (!(units > 0.0) || !(spec->full_scale > 0.0)) return NAN;
    return 10.0 * log10(units) + lay_quantity_offset_db(spec->quantity);
}
