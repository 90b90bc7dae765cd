/* Critical bands and tone criteria of ECMA-418-1. */
#include <layshaft/dsp.h>

#include <math.h>

double lay_critical_bandwidth(double hz) {
    double khz = hz / 1000.0;
    return 25.0 + 75.0 * pow(1.0 + 1.4 * khz * khz, 0.69);
}

/* Up to 500 Hz the tone is the arithmetic, above it the geometric centre of its band. */
void lay_critical_band(double hz, double *low, double *high) {
    double width = lay_critical_bandwidth(hz);
    if (hz <= 500.0)
        *low = fmax(hz - 0.5 * width, 0.0);
    else
        *low = -0.5 * width + 0.5 * sqrt(width * width + 4.0 * hz * hz);
    *high = hz <= 500.0 ? hz + 0.5 * width : *low + width;
}

static double lower_edge_of(double hz) {
    if (hz <= 171.4) return 20.0;
    if (hz <= 1600.0) return -149.5 + 1.001 * hz - 6.90e-5 * hz * hz;
    return 6.8 + 0.806 * hz - 8.20e-6 * hz * hz;
}

static double upper_edge_of(double hz) {
    if (hz <= 1600.0) return 149.5 + 1.035 * hz + 7.70e-5 * hz * hz;
    return 3.3 + 1.215 * hz + 2.16e-5 * hz * hz;
}

void lay_prominence_bands(double hz, double *lower_edge, double *upper_edge) {
    double low, high;
    lay_critical_band(hz, &low, &high);
    *lower_edge = fmin(lower_edge_of(hz), low); /* below 70 Hz, outside the standard, 20 Hz is too high */
    *upper_edge = upper_edge_of(hz);
}

double lay_tnr_limit(double hz) {
    return hz >= 1000.0 ? 8.0 : 8.0 + 8.33 * log10(1000.0 / hz);
}

double lay_pr_limit(double hz) {
    return hz >= 1000.0 ? 9.0 : 9.0 + 10.0 * log10(1000.0 / hz);
}
