/* Decibels and the frequency weightings of sound level meters. */
#include <layshaft/dsp.h>

#include <math.h>

#define LOWEST_DB (-200.0)

double lay_db_power(double power_ratio) {
    if (isnan(power_ratio)) return NAN;
    if (power_ratio <= 0.0) return LOWEST_DB;
    return fmax(10.0 * log10(power_ratio), LOWEST_DB);
}

double lay_db_to_power(double db) {
    return pow(10.0, 0.1 * db);
}

/* Pole frequencies in Hz, IEC 61672-1 Annex E. */
static const double f1 = 20.598997, f2 = 107.65265, f3 = 737.86223, f4 = 12194.217;

static double second_order_pair(double hz) {
    double f = hz * hz;
    return f * f4 * f4 / ((f + f1 * f1) * (f + f4 * f4));
}

static double c_gain(double hz) {
    return second_order_pair(hz);
}

static double a_gain(double hz) {
    double f = hz * hz;
    return second_order_pair(hz) * f / sqrt((f + f2 * f2) * (f + f3 * f3));
}

static double relative_db(double gain, double gain_at_1_khz) {
    if (!(gain > 0.0)) return isnan(gain) ? NAN : LOWEST_DB;
    return fmax(20.0 * log10(gain / gain_at_1_khz), LOWEST_DB);
}

double lay_a_weighting(double hz) {
    return relative_db(a_gain(hz), a_gain(1000.0));
}

double lay_c_weighting(double hz) {
    return relative_db(c_gain(hz), c_gain(1000.0));
}
