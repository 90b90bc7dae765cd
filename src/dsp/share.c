/* How well a share is known from a few cases. */
#include <layshaft/dsp.h>

#include <math.h>

void lay_share_interval(int k, int n, double z, double *low, double *high) {
    *low = 0;
    *high = 1;
    if (n <= 0) return;
    double p = (double)k / n, zz = z * z, whole = 1 + zz / n;
    double middle = (p + zz / (2.0 * n)) / whole;
    double half = z / whole * sqrt(p * (1 - p) / n + zz / (4.0 * n * n));
    *low = k == 0 ? 0 : fmax(0, middle - half);
    *high = k == n ? 1 : fmin(1, middle + half);
}
