#include "filter.h"

#include <math.h>

static lay_sim_biquad normalised(double b0, double b1, double b2, double a0, double a1, double a2) {
    return (lay_sim_biquad){.b0 = b0 / a0, .b1 = b1 / a0, .b2 = b2 / a0, .a1 = a1 / a0, .a2 = a2 / a0};
}

lay_sim_biquad lay_sim_peaking(double rate, double hz, double q, double gain_db) {
    double a = pow(10.0, gain_db / 40.0), w = 2.0 * LAY_PI * hz / rate;
    double alpha = sin(w) / (2.0 * q), c = cos(w);
    return normalised(1.0 + alpha * a, -2.0 * c, 1.0 - alpha * a, 1.0 + alpha / a, -2.0 * c, 1.0 - alpha / a);
}

lay_sim_biquad lay_sim_low_shelf(double rate, double hz, double slope, double gain_db) {
    double a = pow(10.0, gain_db / 40.0), w = 2.0 * LAY_PI * hz / rate, c = cos(w);
    double alpha = sin(w) / 2.0 * sqrt((a + 1.0 / a) * (1.0 / slope - 1.0) + 2.0);
    double beta = 2.0 * sqrt(a) * alpha;
    return normalised(a * ((a + 1) - (a - 1) * c + beta), 2.0 * a * ((a - 1) - (a + 1) * c),
                      a * ((a + 1) - (a - 1) * c - beta), (a + 1) + (a - 1) * c + beta, -2.0 * ((a - 1) + (a + 1) * c),
                      (a + 1) + (a - 1) * c - beta);
}

/* h[n] = r^n sin((n+1) w) / sin w; its first crest lies a quarter period in. */
lay_sim_biquad lay_sim_ring(double rate, double hz, double q) {
    double w = 2.0 * LAY_PI * hz / rate, r = exp(-w / (2.0 * q));
    double peak = pow(r, LAY_PI / (2.0 * w)) / sin(w);
    return (lay_sim_biquad){.b0 = 1.0 / peak, .a1 = -2.0 * r * cos(w), .a2 = r * r};
}

void lay_sim_cascade_add(lay_sim_cascade *cascade, lay_sim_biquad stage) {
    if (cascade->count < LAY_SIM_STAGES_MAX) cascade->stage[cascade->count++] = stage;
}

void lay_sim_biquad_run(lay_sim_biquad *stage, double *x, size_t n) {
    const lay_sim_biquad f = *stage;
    double z1 = f.z1, z2 = f.z2;
    for (size_t i = 0; i < n; i++) {
        double in = x[i], out = f.b0 * in + z1;
        z1 = f.b1 * in - f.a1 * out + z2;
        z2 = f.b2 * in - f.a2 * out;
        x[i] = out;
    }
    stage->z1 = z1;
    stage->z2 = z2;
}

/* Two sections at a time: their recurrences overlap in the pipeline, which halves the time. */
static void run_pair(lay_sim_biquad *first, lay_sim_biquad *second, double *x, size_t n) {
    const lay_sim_biquad f = *first, g = *second;
    double p1 = f.z1, p2 = f.z2, q1 = g.z1, q2 = g.z2;
    for (size_t i = 0; i < n; i++) {
        double in = x[i], mid = f.b0 * in + p1;
        p1 = f.b1 * in - f.a1 * mid + p2;
        p2 = f.b2 * in - f.a2 * mid;
        double out = g.b0 * mid + q1;
        q1 = g.b1 * mid - g.a1 * out + q2;
        q2 = g.b2 * mid - g.a2 * out;
        x[i] = out;
    }
    first->z1 = p1, first->z2 = p2;
    second->z1 = q1, second->z2 = q2;
}

void lay_sim_cascade_run(lay_sim_cascade *cascade, double *x, size_t n) {
    int i = 0;
    for (; i + 1 < cascade->count; i += 2) run_pair(&cascade->stage[i], &cascade->stage[i + 1], x, n);
    if (i < cascade->count) lay_sim_biquad_run(&cascade->stage[i], x, n);
}

void lay_sim_cascade_response(const lay_sim_cascade *cascade, double rate, double hz, double *re, double *im) {
    double w = 2.0 * LAY_PI * hz / rate;
    double c1 = cos(w), s1 = -sin(w), c2 = cos(2.0 * w), s2 = -sin(2.0 * w);
    *re = 1.0;
    *im = 0.0;
    for (int i = 0; i < cascade->count; i++) {
        const lay_sim_biquad *f = &cascade->stage[i];
        double nr = f->b0 + f->b1 * c1 + f->b2 * c2, ni = f->b1 * s1 + f->b2 * s2;
        double dr = 1.0 + f->a1 * c1 + f->a2 * c2, di = f->a1 * s1 + f->a2 * s2;
        double d = dr * dr + di * di;
        double hr = (nr * dr + ni * di) / d, hi = (ni * dr - nr * di) / d;
        double t = *re * hr - *im * hi;
        *im = *re * hi + *im * hr;
        *re = t;
    }
}
