/* Small systems of linear equations. */
#include <layshaft/dsp.h>

#include <float.h>
#include <math.h>

static double largest_entry(const double *a, size_t count) {
    double largest = 0.0;
    for (size_t i = 0; i < count; i++)
        if (!(fabs(a[i]) <= largest)) largest = fabs(a[i]);
    return largest;
}

static size_t pivot_row(const double *a, size_t n, size_t column) {
    size_t best = column;
    for (size_t row = column + 1; row < n; row++)
        if (fabs(a[row * n + column]) > fabs(a[best * n + column])) best = row;
    return best;
}

static void swap_rows(double *a, double *b, size_t n, size_t i, size_t j) {
    for (size_t k = 0; k < n; k++) {
        double t = a[i * n + k];
        a[i * n + k] = a[j * n + k];
        a[j * n + k] = t;
    }
    double t = b[i];
    b[i] = b[j];
    b[j] = t;
}

static void eliminate_below(double *a, double *b, size_t n, size_t column) {
    for (size_t row = column + 1; row < n; row++) {
        double factor = a[row * n + column] / a[column * n + column];
        if (factor == 0.0) continue;
        for (size_t k = column; k < n; k++) a[row * n + k] -= factor * a[column * n + k];
        b[row] -= factor * b[column];
    }
}

bool lay_solve(double *a, double *b, size_t n) {
    double smallest_pivot = largest_entry(a, n * n) * (double)n * DBL_EPSILON;
    for (size_t column = 0; column < n; column++) {
        size_t pivot = pivot_row(a, n, column);
        if (!(fabs(a[pivot * n + column]) > smallest_pivot)) /* NaN counts as singular too */
            return false;
        if (pivot != column) swap_rows(a, b, n, pivot, column);
        eliminate_below(a, b, n, column);
    }
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++) b[i] -= a[i * n + k] * b[k];
        b[i] /= a[i * n + i];
    }
    return true;
}
