/* Windows and what they cost. */
#include <layshaft/dsp.h>

#include <math.h>

#define MOST_TERMS 5

/* w = sum of (-1)^k a[k] cos(2 pi k i / n). */
static const struct {
    const char *name;
    double a[MOST_TERMS];
} windows[LAY_WINDOW_COUNT] = {
    [LAY_WINDOW_RECTANGULAR] = {"rectangular", {1.0}},
    [LAY_WINDOW_HANN] = {"Hann", {0.5, 0.5}},
    /* minimum 4-term, -92 dB: Harris 1978, table 1 */
    [LAY_WINDOW_BLACKMAN_HARRIS] = {"Blackman-Harris", {0.35875, 0.48829, 0.14128, 0.01168}},
    /* Heinzel, Ruediger and Schilling 2002, appendix D */
    [LAY_WINDOW_FLATTOP_HFT95] = {"flat-top HFT95", {1.0, 1.9383379, 1.3045202, 0.4028270, 0.0350665}},
};

const char *lay_window_name(lay_window window) {
    return (unsigned)window < LAY_WINDOW_COUNT ? windows[window].name : "unknown";
}

void lay_window_fill(lay_window window, double *w, size_t n) {
    const double *a = windows[window].a;
    for (size_t i = 0; i < n; i++) {
        double angle = 2.0 * LAY_PI * (double)i / (double)n;
        double sum = a[0], sign = -1.0;
        for (int k = 1; k < MOST_TERMS && a[k] != 0.0; k++, sign = -sign) sum += sign * a[k] * cos(k * angle);
        w[i] = sum;
    }
}

static double energy(const double *w, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) sum += w[i] * w[i];
    return sum;
}

double lay_window_enbw(const double *w, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) sum += w[i];
    return (double)n * energy(w, n) / (sum * sum);
}

double lay_window_overlap_correlation(const double *w, size_t n, size_t hop) {
    double sum = 0.0;
    for (size_t i = 0; hop < n && i < n - hop; i++) sum += w[i] * w[i + hop];
    return sum / energy(w, n);
}

double lay_welch_effective(const double *w, size_t n, size_t hop, size_t k) {
    if (k == 0) return 0.0;
    double averages = (double)k, sum = 0.0;
    /* hop 0: every segment is the same one */
    for (size_t j = 1; j < k && (hop == 0 || j <= (n - 1) / hop); j++) {
        double rho = lay_window_overlap_correlation(w, n, j * hop);
        sum += (1.0 - (double)j / averages) * rho * rho;
    }
    return averages / (1.0 + 2.0 * sum);
}
