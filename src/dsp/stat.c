/* Moments and order statistics. */
#include <layshaft/dsp.h>

#include <math.h>

double lay_mean(const double *x, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) sum += x[i];
    return n ? sum / (double)n : 0.0;
}

double lay_rms(const double *x, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) sum += x[i] * x[i];
    return n ? sqrt(sum / (double)n) : 0.0;
}

static bool is_constant(const double *x, size_t n) {
    for (size_t i = 1; i < n; i++)
        if (x[i] != x[0]) return false;
    return true;
}

double lay_kurtosis(const double *x, size_t n) {
    /* asked first: the rounding of the mean would make a constant look like a signal */
    if (is_constant(x, n)) return NAN;
    double mean = lay_mean(x, n), largest = 0.0;
    for (size_t i = 0; i < n; i++) largest = fmax(largest, fabs(x[i] - mean));
    double m2 = 0.0, m4 = 0.0;
    for (size_t i = 0; i < n; i++) {
        double d = (x[i] - mean) / largest; /* keeps the fourth power in range */
        m2 += d * d;
        m4 += d * d * d * d;
    }
    return (double)n * m4 / (m2 * m2);
}

/* ---- quantiles ---- */

static void swap(double *a, double *b) {
    double t = *a;
    *a = *b;
    *b = t;
}

/* Moves the NaNs to the end; returns how many numbers are left before them. */
static size_t put_nan_last(double *x, size_t n) {
    size_t kept = 0;
    for (size_t i = 0; i < n; i++)
        if (!isnan(x[i])) swap(&x[i], &x[kept++]);
    return kept;
}

static double middle(double a, double b, double c) {
    return fmax(fmin(a, b), fmin(fmax(a, b), c));
}

/* Brings the element of rank k to x[k], smaller ones before it (Hoare 1961). Three parts, so that many
 * equal values (silence) do not make it slow. */
static void select_rank(double *x, size_t n, size_t k) {
    size_t low = 0, high = n;
    while (high - low > 1) {
        double pivot = middle(x[low], x[low + (high - low) / 2], x[high - 1]);
        size_t less = low, i = low, more = high;
        while (i < more) {
            if (x[i] < pivot)
                swap(&x[i++], &x[less++]);
            else if (x[i] > pivot)
                swap(&x[i], &x[--more]);
            else
                i++;
        }
        if (k < less)
            high = less;
        else if (k >= more)
            low = more;
        else
            return;
    }
}

static double smallest(const double *x, size_t n) {
    double least = INFINITY;
    for (size_t i = 0; i < n; i++)
        if (x[i] < least) least = x[i];
    return least;
}

double lay_quantile(double *x, size_t n, double q) {
    if (n == 0 || isnan(q)) return NAN;
    size_t numbers = put_nan_last(x, n);
    double rank = fmin(fmax(q, 0.0), 1.0) * (double)(n - 1);
    size_t k = (size_t)rank;
    double part = rank - (double)k;
    if (k >= numbers) return INFINITY;
    select_rank(x, numbers, k);
    if (part == 0.0) return x[k];
    double next = smallest(x + k + 1, numbers - k - 1);
    return x[k] == next ? next : x[k] + part * (next - x[k]);
}

double lay_median(double *x, size_t n) {
    return lay_quantile(x, n, 0.5);
}
