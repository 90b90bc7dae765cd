/* Student's t distribution: how far a mean of few values may lie from the truth. */
#include <layshaft/dsp.h>

#include <math.h>

#define TERMS 300
#define TINY 1e-300

/* Continued fraction of the incomplete beta function, DLMF 8.17.22, by the method of Lentz. */
static double fraction(double a, double b, double x) {
    double c = 1, d = 1 - (a + b) * x / (a + 1);
    d = 1 / (fabs(d) < TINY ? TINY : d);
    double h = d;
    for (int m = 1; m <= TERMS; m++) {
        for (int odd = 0; odd < 2; odd++) {
            double term = odd ? -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
                              : m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
            d = 1 + term * d;
            c = 1 + term / c;
            d = 1 / (fabs(d) < TINY ? TINY : d);
            if (fabs(c) < TINY) c = TINY;
            h *= d * c;
        }
        if (fabs(d * c - 1) < 1e-15) break;
    }
    return h;
}

/* Regularised incomplete beta function I_x(a, b). */
static double incomplete_beta(double a, double b, double x) {
    if (x <= 0) return 0;
    if (x >= 1) return 1;
    double front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x));
    if (x < (a + 1) / (a + b + 2)) return front * fraction(a, b, x) / a;
    return 1 - front * fraction(b, a, 1 - x) / b;
}

double lay_student_survival(double t, double dof) {
    if (!(dof > 0) || isnan(t)) return NAN;
    if (dof > 1e7) return lay_normal_survival(t);
    double tail = 0.5 * incomplete_beta(0.5 * dof, 0.5, dof / (dof + t * t));
    return t >= 0 ? tail : 1 - tail;
}

double lay_student_threshold(double p, double dof) {
    if (!(p > 0 && p < 1) || !(dof > 0)) return NAN;
    double low = 0, high = 1;
    if (p > 0.5) return -lay_student_threshold(1 - p, dof);
    while (lay_student_survival(high, dof) > p && high < 1e12) high *= 2;
    for (int i = 0; i < 200 && high - low > 1e-12 * high; i++) {
        double middle = 0.5 * (low + high);
        if (lay_student_survival(middle, dof) > p)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}
