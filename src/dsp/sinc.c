/* Band-limited interpolation by a Kaiser-windowed sinc (Smith and Gossett 1984; Kaiser 1974).
 *
 * The kernel is held twice: by phase, a row of neighbouring taps for each of PHASES fractions of a
 * sample, for the common case of full bandwidth; and along its length, for stretched kernels. Between
 * two phases the value is interpolated linearly, which costs an error of some -115 dB. */
#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>

#define PHASES 512
#define MOST_CROSSINGS 1024
#define LEAST_CUTOFF 1e-6

struct lay_sinc {
    size_t half, taps; /* zero crossings each side; 2 * half */
    double *rows;      /* PHASES + 1 rows of `taps`: rows[p][k] = h(k + 1 - half - p / PHASES) */
    double *kernel;    /* h(i / PHASES - half) for i = 0 .. 2 * half * PHASES, and one 0 more */
};

/* Modified Bessel function of order 0: power series, all terms positive. */
static double bessel_i0(double x) {
    double term = 1.0, sum = 1.0, quarter = 0.25 * x * x;
    for (int k = 1; k < 1000 && term > sum * 1e-17; k++) {
        term *= quarter / ((double)k * k);
        sum += term;
    }
    return sum;
}

static double kernel_value(double t, double half, double beta) {
    double u = t / half;
    if (fabs(u) >= 1.0) return 0.0;
    double window = bessel_i0(beta * sqrt(1.0 - u * u)) / bessel_i0(beta);
    double x = LAY_PI * t;
    return t == 0.0 ? window : window * sin(x) / x;
}

static void fill_tables(lay_sinc *sinc, double beta) {
    size_t centre = sinc->half * PHASES;
    for (size_t i = 0; i <= centre; i++) {
        double value = kernel_value((double)i / PHASES, (double)sinc->half, beta);
        sinc->kernel[centre + i] = value;
        sinc->kernel[centre - i] = value;
    }
    for (size_t p = 0; p <= PHASES; p++)
        for (size_t k = 0; k < sinc->taps; k++) sinc->rows[p * sinc->taps + k] = sinc->kernel[(k + 1) * PHASES - p];
}

lay_status lay_sinc_new(int half_width, double beta, lay_sinc **out, lay_error *err) {
    *out = NULL;
    if (half_width < 1 || half_width > MOST_CROSSINGS || !(beta >= 0.0 && beta <= 100.0))
        return lay_fail(err, LAY_BAD_INPUT, "no interpolation kernel has %d zero crossings and the Kaiser parameter %g",
                        half_width, beta);
    lay_sinc *sinc = lay_calloc(1, sizeof *sinc);
    if (!sinc) goto no_memory;
    sinc->half = (size_t)half_width;
    sinc->taps = 2 * sinc->half;
    sinc->rows = lay_calloc((PHASES + 1) * sinc->taps, sizeof *sinc->rows);
    sinc->kernel = lay_calloc(sinc->taps * PHASES + 2, sizeof *sinc->kernel);
    if (!sinc->rows || !sinc->kernel) goto no_memory;
    fill_tables(sinc, beta);
    *out = sinc;
    return LAY_OK;
no_memory:
    lay_sinc_free(sinc);
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for an interpolation kernel");
}

void lay_sinc_free(lay_sinc *sinc) {
    if (!sinc) return;
    free(sinc->rows);
    free(sinc->kernel);
    free(sinc);
}

/* Samples either side; a cutoff that makes no sense counts as one that needs the longest kernel. */
size_t lay_sinc_reach(const lay_sinc *sinc, double cutoff) {
    double limited = cutoff >= LEAST_CUTOFF ? fmin(cutoff, 1.0) : LEAST_CUTOFF;
    return (size_t)ceil((double)sinc->half / limited) + 1;
}

/* ---- full bandwidth ---- */

typedef struct dot_pair {
    double first, second;
} dot_pair;

/* Scalar products of x with two neighbouring rows: the hot loop of the whole program. Four sums each,
 * written out, so that the additions neither wait for one another nor need reordering to run side by side. */
static inline dot_pair dot_two(const double *restrict x, size_t stride, const double *restrict a,
                               const double *restrict b, size_t n) {
    double s0 = 0.0, s1 = 0.0, s2 = 0.0, s3 = 0.0;
    double t0 = 0.0, t1 = 0.0, t2 = 0.0, t3 = 0.0;
    size_t k = 0;
    for (; k + 4 <= n; k += 4) {
        double x0 = x[k * stride], x1 = x[(k + 1) * stride];
        double x2 = x[(k + 2) * stride], x3 = x[(k + 3) * stride];
        s0 += x0 * a[k];
        s1 += x1 * a[k + 1];
        s2 += x2 * a[k + 2];
        s3 += x3 * a[k + 3];
        t0 += x0 * b[k];
        t1 += x1 * b[k + 1];
        t2 += x2 * b[k + 2];
        t3 += x3 * b[k + 3];
    }
    for (; k < n; k++) {
        s0 += x[k * stride] * a[k];
        t0 += x[k * stride] * b[k];
    }
    return (dot_pair){(s0 + s2) + (s1 + s3), (t0 + t2) + (t1 + t3)};
}

/* Constant strides let the compiler load neighbours at once. */
static dot_pair dot_rows(const double *x, size_t stride, const double *a, const double *b, size_t n) {
    if (stride == 1) return dot_two(x, 1, a, b, n);
    if (stride == 2) return dot_two(x, 2, a, b, n);
    return dot_two(x, stride, a, b, n);
}

static double at_full_bandwidth(const lay_sinc *sinc, const double *x, size_t n, size_t stride, double position) {
    double whole = floor(position);
    double phase = (position - whole) * PHASES;
    size_t p = (size_t)phase; /* position - whole < 1, but times PHASES it may round up to PHASES */
    if (p >= PHASES) p = PHASES - 1;
    double part = phase - (double)p;
    ptrdiff_t first = (ptrdiff_t)whole + 1 - (ptrdiff_t)sinc->half;
    ptrdiff_t start = first < 0 ? -first : 0;
    ptrdiff_t end = (ptrdiff_t)sinc->taps;
    if (end > (ptrdiff_t)n - first) end = (ptrdiff_t)n - first;
    if (start >= end) return 0.0;
    const double *row = sinc->rows + p * sinc->taps + start;
    dot_pair y = dot_rows(x + (size_t)(first + start) * stride, stride, row, row + sinc->taps, (size_t)(end - start));
    return y.first + part * (y.second - y.first);
}

void lay_sinc_weights(const lay_sinc *sinc, double fraction, double *weights) {
    double phase = fraction * PHASES;
    size_t p = phase > 0 ? (size_t)phase : 0;
    if (p >= PHASES)
        p = PHASES - 1;
    double part = phase - (double)p;
    const double *restrict a = sinc->rows + p * sinc->taps, *restrict b = a + sinc->taps;
    double *restrict w = weights;
    for (size_t k = 0; k < sinc->taps; k++)
        w[k] = a[k] + part * (b[k] - a[k]);
}

/* ---- stretched kernel ---- */

/* Sum over samples whose places along the kernel are `place` + k * `step`, in units of 2^-32 table
 * entries: integers keep the loop free of rounding calls. */
static double dot_along(const double *kernel, const double *x, size_t stride, uint64_t place, uint64_t step, size_t n) {
    double even = 0.0, odd = 0.0;
    for (size_t k = 0; k < n; k++) {
        const double *h = kernel + (place >> 32);
        double part = (double)(int64_t)(place & UINT32_MAX) * 0x1.0p-32;
        double product = x[k * stride] * (h[0] + part * (h[1] - h[0]));
        if (k & 1)
            odd += product;
        else
            even += product;
        place += step;
    }
    return even + odd;
}

static double at_cutoff(const lay_sinc *sinc, const double *x, size_t n, size_t stride, double position,
                        double cutoff) {
    double reach = (double)sinc->half / cutoff;
    double first = fmax(ceil(position - reach), 0.0);
    double last = fmin(floor(position + reach), (double)n - 1.0);
    if (!(first <= last)) return 0.0;
    double scale = cutoff * PHASES;
    double begin = fmax((first - position + reach) * scale, 0.0);
    uint64_t place = (uint64_t)(begin * 0x1.0p32), step = (uint64_t)(scale * 0x1.0p32);
    size_t count = (size_t)(last - first) + 1;
    return cutoff * dot_along(sinc->kernel, x + (size_t)first * stride, stride, place, step, count);
}

double lay_sinc_at(const lay_sinc *sinc, const double *x, size_t n, size_t stride, double position, double cutoff) {
    double reach = (double)lay_sinc_reach(sinc, cutoff);
    if (!(position > -reach && position < (double)n + reach)) /* far outside, or NaN */
        return 0.0;
    if (cutoff >= 1.0) return at_full_bandwidth(sinc, x, n, stride, position);
    return at_cutoff(sinc, x, n, stride, position, cutoff >= LEAST_CUTOFF ? cutoff : LEAST_CUTOFF);
}
