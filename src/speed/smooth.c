#include "smooth.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BAND 4 /* diagonal and three below it */

/* Row of the difference operator: binomials with alternating sign. */
static const double difference[4][4] = {{1, 0, 0, 0}, {-1, 1, 0, 0}, {1, -2, 1, 0}, {-1, 3, -3, 1}};

/* Lower band of W + lambda D'D, row by row: band[i * BAND + d] is the element (i, i - d). */
static void fill_band(double *band, const double *weights, size_t n, int order, double lambda) {
    memset(band, 0, n * BAND * sizeof *band);
    for (size_t i = 0; i < n; i++) band[i * BAND] = weights ? weights[i] : 1.0;
    for (size_t r = 0; r + (size_t)order < n; r++)
        for (int a = 0; a <= order; a++)
            for (int b = 0; b <= a; b++)
                band[(r + (size_t)a) * BAND + (size_t)(a - b)] += lambda * difference[order][a] * difference[order][b];
}

/* Cholesky's L D L' in place: D on the diagonal, L below it. */
static void factorise(double *band, size_t n, int order) {
    for (size_t i = 0; i < n; i++) {
        double *row = band + i * BAND;
        size_t reach = i < (size_t)order ? i : (size_t)order;
        for (size_t d = reach; d >= 1; d--) {
            size_t j = i - d;
            double sum = row[d];
            for (size_t e = d + 1; e <= reach && e - d <= (size_t)order; e++)
                sum -= row[e] * band[j * BAND + (e - d)] * band[(i - e) * BAND];
            row[d] = sum / band[j * BAND];
        }
        for (size_t d = 1; d <= reach; d++) row[0] -= row[d] * row[d] * band[(i - d) * BAND];
    }
}

static void substitute(const double *band, size_t n, int order, double *z) {
    for (size_t i = 0; i < n; i++)
        for (size_t d = 1; d <= (size_t)order && d <= i; d++) z[i] -= band[i * BAND + d] * z[i - d];
    for (size_t i = 0; i < n; i++) z[i] /= band[i * BAND];
    for (size_t i = n; i-- > 0;)
        for (size_t d = 1; d <= (size_t)order && d <= i; d++) z[i - d] -= band[i * BAND + d] * z[i];
}

lay_status lay_smooth(const double *y, const double *weights, size_t n, int order, double lambda, double *z,
                      lay_error *err) {
    if (n < (size_t)order + 2 || lambda <= 0) {
        memmove(z, y, n * sizeof *z);
        return LAY_OK;
    }
    double *band = lay_calloc(n * BAND, sizeof *band);
    if (!band) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to smooth the speed");
    fill_band(band, weights, n, order, lambda);
    factorise(band, n, order);
    for (size_t i = 0; i < n; i++) z[i] = weights ? weights[i] * y[i] : y[i];
    substitute(band, n, order, z);
    free(band);
    return LAY_OK;
}
