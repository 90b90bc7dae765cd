/* Chi-square and normal probabilities, and sums in the logarithmic domain. */
#include <layshaft/dsp.h>

#include <float.h>
#include <math.h>

#define MOST_STEPS 100000

/* ln Gamma(a) - [(a - 1/2) ln a - a + ln(2 pi)/2] for a >= 15: Stirling's series, NIST DLMF 5.11.1. */
static double stirling_rest(double a) {
    static const double c[] = {1.0 / 12, -1.0 / 360, 1.0 / 1260, -1.0 / 1680, 1.0 / 1188, -691.0 / 360360};
    double square = 1.0 / (a * a), sum = 0.0;
    for (int i = 5; i >= 0; i--) sum = sum * square + c[i];
    return sum / a;
}

/* lgamma() writes the global signgam, which a library must not. For 0 < a < 15 by recurrence. */
static double log_gamma(double a) {
    double product = 1.0;
    while (a < 15.0) product *= a++;
    return (a - 0.5) * log(a) - a + 0.5 * log(2.0 * LAY_PI) + stirling_rest(a) - log(product);
}

/* ln(1 + u) - u without cancellation near 0. */
static double log1p_minus(double u) {
    if (fabs(u) > 0.1) return log1p(u) - u;
    double sum = 0.0;
    for (int k = 18; k >= 2; k--) sum = sum * -u + 1.0 / k;
    return -u * u * sum;
}

/* x^a exp(-x) / Gamma(a); for large a arranged so that large terms do not cancel. */
static double gamma_front(double a, double x) {
    if (a < 15.0) return exp(a * log(x) - x - log_gamma(a));
    return sqrt(a / (2.0 * LAY_PI)) * exp(a * log1p_minus((x - a) / a) - stirling_rest(a));
}

/* P(a, x) by the series of NIST DLMF 8.11.4, for x < a + 1. */
static double gamma_p_series(double a, double x) {
    double term = 1.0 / a, sum = term;
    for (int i = 1; i < MOST_STEPS && term > sum * DBL_EPSILON / 8; i++) {
        term *= x / (a + i);
        sum += term;
    }
    return sum * gamma_front(a, x);
}

/* Q(a, x) by the continued fraction of NIST DLMF 8.9.2, modified Lentz, for x >= a + 1. */
static double gamma_q_fraction(double a, double x) {
    const double tiny = DBL_MIN / DBL_EPSILON;
    double b = x + 1.0 - a, c = 1.0 / tiny, d = 1.0 / b, value = d;
    for (int i = 1; i < MOST_STEPS; i++) {
        double an = -i * (i - a);
        b += 2.0;
        d = an * d + b;
        c = b + an / c;
        if (fabs(d) < tiny) d = tiny;
        if (fabs(c) < tiny) c = tiny;
        d = 1.0 / d;
        value *= d * c;
        if (fabs(d * c - 1.0) < DBL_EPSILON) break;
    }
    return value * gamma_front(a, x);
}

double lay_gamma_q(double a, double x) {
    if (isnan(a) || isnan(x) || a <= 0.0 || isinf(a)) return NAN;
    if (x <= 0.0) return 1.0;
    if (isinf(x)) return 0.0;
    return x < a + 1.0 ? 1.0 - gamma_p_series(a, x) : gamma_q_fraction(a, x);
}

double lay_chi2_survival(double x, double dof) {
    return lay_gamma_q(0.5 * dof, 0.5 * x);
}

double lay_normal_survival(double z) {
    return 0.5 * erfc(z / sqrt(2.0));
}

/* Newton on ln Q, which is nearly straight in the upper tail; a step that leaves the bracket halves it. */
double lay_chi2_threshold(double p, double dof) {
    if (isnan(p) || isnan(dof) || dof <= 0.0 || isinf(dof) || p < 0.0 || p > 1.0) return NAN;
    if (p == 0.0) return INFINITY;
    double a = 0.5 * dof, low = 0.0, high = a + 1.0;
    if (p == 1.0) return 0.0;
    while (lay_gamma_q(a, high) > p) {
        low = high;
        high *= 2.0;
    }
    double x = 0.5 * (low + high);
    for (int i = 0; i < 200 && high - low > DBL_EPSILON * high; i++) {
        double q = lay_gamma_q(a, x);
        if (q > p)
            low = x;
        else
            high = x;
        double next = x + x * log(q / p) * q / gamma_front(a, x);
        if (!(next > low && next < high)) next = 0.5 * (low + high);
        double step = fabs(next - x);
        x = next;
        if (step <= 2.0 * DBL_EPSILON * x) break;
    }
    return 2.0 * x;
}

double lay_logistic(double x) {
    if (x >= 0.0) return 1.0 / (1.0 + exp(-x));
    double e = exp(x);
    return e / (1.0 + e);
}

double lay_log_sum_exp(const double *x, size_t n) {
    double largest = -INFINITY;
    for (size_t i = 0; i < n; i++)
        if (x[i] > largest || isnan(x[i])) largest = x[i];
    if (!isfinite(largest)) return largest;
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) sum += exp(x[i] - largest);
    return largest + log(sum);
}
