#include "impact.h"

#include <math.h>
#include <string.h>

/* An impulse between two samples is shared by both, so that strikes keep their time to a fraction of a sample. */
static void strike(double *excitation, double position, double size) {
    size_t i = (size_t)position;
    double u = position - (double)i;
    excitation[i] += size * (1.0 - u);
    excitation[i + 1] += size * u;
}

static double size_of(lay_sim_impacts *t, double turns, double load) {
    double size = t->peak * (1.0 + t->scatter * lay_random_normal(&t->random));
    if (t->pattern_count > 0) {
        size *= t->pattern[t->pattern_at];
        t->pattern_at = (t->pattern_at + 1) % t->pattern_count;
    }
    if (t->zone_depth > 0) size *= 1.0 - t->zone_depth * 0.5 * (1.0 - cos(2.0 * LAY_PI * t->zone_order * turns));
    double u = 0.5 + 0.5 * fmin(1.0, fmax(-1.0, load / 0.15));
    return fmax(size, 0.0) * (t->flank[1] + (t->flank[0] - t->flank[1]) * u);
}

/* Events tied to the angle that fall into this block. */
static void locked(lay_sim_impacts *t, double turns0, double turns1, double load, double gain, double *excitation,
                   size_t n) {
    if (t->order <= 0 || turns1 <= turns0) return;
    while (t->next < turns1) {
        double at = t->next;
        double interval = 1.0 / t->order;
        t->next += interval * fmax(0.1, 1.0 + t->jitter * lay_random_normal(&t->random));
        if (t->timing == LAY_SIM_RATTLE) {
            at += 0.1 * interval * lay_random_normal(&t->random);
            if (lay_random_unit(&t->random) > t->chance) continue;
        }
        double position = (at - turns0) / (turns1 - turns0) * (double)n;
        position = fmin(fmax(position, 0.0), (double)n - 1e-6);
        strike(excitation, position, gain * size_of(t, at, load));
    }
}

static void at_random(lay_sim_impacts *t, double rate, double *excitation, size_t n) {
    double block_s = (double)n / rate;
    if (t->echo_left >= 0) {
        if (t->echo_left < block_s) strike(excitation, t->echo_left * rate, 0.8 * t->peak);
        t->echo_left = t->echo_left < block_s ? -1.0 : t->echo_left - block_s;
    }
    if (lay_random_unit(&t->random) >= t->rate * block_s) return;
    double size = t->peak * lay_random_between(&t->random, 0.4, 1.0);
    strike(excitation, lay_random_unit(&t->random) * ((double)n - 1e-6), size);
    if (t->echo_s > 0) t->echo_left = t->echo_s;
}

void lay_sim_impacts_block(lay_sim_impacts *t, double turns0, double turns1, double load, double gain, double rate,
                           double *excitation, double *x, size_t n) {
    memset(excitation, 0, (n + 1) * sizeof *excitation);
    if (t->timing == LAY_SIM_RANDOM)
        at_random(t, rate, excitation, n);
    else
        locked(t, turns0, turns1, load, gain, excitation, n);
    bool struck = false;
    for (size_t i = 0; i <= n && !struck; i++) struck = excitation[i] > 0;
    if (!struck && fabs(t->ring.z1) + fabs(t->ring.z2) < 1e-6 * t->peak) return; /* died away: nothing to ring */
    excitation[n - 1] += excitation[n]; /* the last fraction of a sample is not carried over */
    lay_sim_biquad_run(&t->ring, excitation, n);
    for (size_t i = 0; i < n; i++) x[i] += excitation[i];
}
