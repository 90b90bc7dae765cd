#include "impact.h"

#include <math.h>
#include <string.h>

/* The first crest of exp(-a t) sin(w t), a = w / 2 q, lies where tan(w t) = 2 q. */
lay_sim_ringing lay_sim_ringing_at(double rate, double hz, double q) {
    double at = atan(2.0 * q), crest = exp(-at / (2.0 * q)) * sin(at);
    lay_sim_ringing ring = {.poles = lay_sim_ring(rate, hz, q), .w = 2.0 * LAY_PI * hz / rate, .size = 1.0 / crest};
    ring.log_r = -ring.w / (2.0 * q);
    ring.poles.b0 = 1.0;
    return ring;
}

double lay_sim_load_zone(double turns, double width) {
    double within = 1.0 - (1.0 - cos(2.0 * LAY_PI * turns)) / (2.0 * width);
    return within > 0 ? within * sqrt(within) : 0.0;
}

/* The samples of r^t sin(w t) from a start between two samples on are what the two poles make of these two impulses:
 * strikes keep their time and their size to a fraction of a sample. */
static void strike(const lay_sim_ringing *ring, double *excitation, double position, double size) {
    size_t i = (size_t)position;
    double until = 1.0 - (position - (double)i); /* the next sample */
    double decay = size * ring->size * exp(ring->log_r * until);
    excitation[i + 1] += decay * sin(ring->w * until);
    excitation[i + 2] += decay * exp(ring->log_r) * sin(ring->w * (1.0 - until));
}

static double size_of(lay_sim_impacts *t, double turns, double load) {
    double size = t->peak * (1.0 + t->scatter * lay_random_normal(&t->random));
    if (t->pattern_count > 0) {
        size *= t->pattern[t->pattern_at];
        t->pattern_at = (t->pattern_at + 1) % t->pattern_count;
    }
    if (t->zone_width > 0) size *= lay_sim_load_zone(t->zone_order * turns + t->zone_phase, t->zone_width);
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
        strike(&t->ring, excitation, position, gain * size_of(t, at, load));
    }
}

static void echo(lay_sim_impacts *t, double block_s, double rate, double *excitation) {
    if (t->echo_left < 0) return;
    if (t->echo_left >= block_s) {
        t->echo_left -= block_s;
        return;
    }
    strike(&t->ring, excitation, t->echo_left * rate, 0.8 * t->peak);
    t->echo_left = -1.0;
    if (--t->echoes_left > 0) t->echo_left = t->echo_s * fmax(0.5, 1.0 + 0.1 * lay_random_normal(&t->random));
}

static void at_random(lay_sim_impacts *t, double rate, double *excitation, size_t n) {
    double block_s = (double)n / rate;
    echo(t, block_s, rate, excitation);
    if (lay_random_unit(&t->random) >= t->rate * block_s) return;
    double size = t->peak * lay_random_between(&t->random, 0.4, 1.0);
    strike(&t->ring, excitation, lay_random_unit(&t->random) * ((double)n - 1e-6), size);
    if (t->echoes > 0) t->echo_left = t->echo_s, t->echoes_left = t->echoes;
}

void lay_sim_impacts_block(lay_sim_impacts *t, double turns0, double turns1, double load, double gain, double rate,
                           double *excitation, double *x, size_t n) {
    lay_sim_ringing *ring = &t->ring;
    memset(excitation, 0, (n + 2) * sizeof *excitation);
    excitation[0] = ring->spill[0];
    excitation[1] = ring->spill[1];
    if (t->timing == LAY_SIM_RANDOM)
        at_random(t, rate, excitation, n);
    else
        locked(t, turns0, turns1, load, gain, excitation, n);
    ring->spill[0] = excitation[n];
    ring->spill[1] = excitation[n + 1];
    bool struck = false;
    for (size_t i = 0; i < n && !struck; i++) struck = excitation[i] != 0;
    if (!struck && fabs(ring->poles.z1) + fabs(ring->poles.z2) < 1e-6 * t->peak) return; /* died away */
    lay_sim_biquad_run(&ring->poles, excitation, n);
    for (size_t i = 0; i < n; i++) x[i] += excitation[i];
}
