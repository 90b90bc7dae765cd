#include "pulses.h"

#include <math.h>

void lay_sim_pulses_draw(lay_random *random, double per_turn, double body_order, lay_sim_pulses *out) {
    *out = (lay_sim_pulses){.per_turn = per_turn, .body_order = body_order, .extra_rise = -1};
    out->duty = per_turn > 8 ? 0.5 : lay_random_between(random, 0.05, 0.4);
    double swing = lay_random_between(random, 0.3, 0.8), base = lay_random_between(random, -0.1, 0.1);
    bool inverted = lay_random_unit(random) < 0.4;
    out->low = inverted ? base + swing : base;
    out->high = inverted ? base : base + swing;
    out->jitter = lay_random_between(random, 0.0, per_turn > 8 ? 0.01 : 0.0005);
    out->missing = lay_random_unit(random) < 0.5 ? 0.0 : lay_random_between(random, 0.0, 0.02);
    out->twice = lay_random_unit(random) < 0.6 ? 0.0 : lay_random_between(random, 0.0, 0.02);
    out->noise = lay_random_between(random, 0.001, 0.02) * swing;
    out->next_rise = lay_random_unit(random);
    lay_random_seed(&out->random, lay_random_bits(random));
}

/* Next change of level before `end` (pulses), false when there is none; the state moves past it. */
static bool next_edge(lay_sim_pulses *p, double end, double *at) {
    if (p->up) {
        if (p->next_fall >= end) return false;
        *at = p->next_fall;
        p->up = false;
        return true;
    }
    while (p->extra_rise >= 0 || p->next_rise < end) {
        bool extra = p->extra_rise >= 0;
        double rise = extra ? p->extra_rise : p->next_rise;
        if (rise >= end) return false;
        if (extra)
            p->extra_rise = -1;
        else
            p->next_rise += 1.0;
        if (!extra && lay_random_unit(&p->random) < p->missing) continue;
        if (!extra && lay_random_unit(&p->random) < p->twice) p->extra_rise = rise + p->duty + 0.5 * (1.0 - p->duty);
        *at = rise + p->jitter * lay_random_normal(&p->random);
        p->next_fall = rise + (extra ? 0.25 * (1.0 - p->duty) : p->duty);
        p->up = true;
        return true;
    }
    return false;
}

/* Edges fall between samples: the first sample after one is mixed by how far it lies behind. */
void lay_sim_pulses_block(lay_sim_pulses *p, double turns0, double turns1, double *x, size_t n) {
    double scale = p->per_turn * p->body_order, from = turns0 * scale, to = turns1 * scale, at;
    size_t filled = 0;
    double level = p->up ? p->high : p->low;
    double carry = 1.0; /* how much of the new level the next sample shows */
    double old = level;
    while (to > from && next_edge(p, to, &at)) {
        double position = fmin(fmax((at - from) / (to - from) * (double)n, (double)filled), (double)n - 1e-9);
        size_t edge = (size_t)position;
        for (; filled <= edge && filled < n; filled++, carry = 1.0, old = level)
            x[filled] = old + carry * (level - old);
        old = level;
        level = p->up ? p->high : p->low;
        carry = (double)(edge + 1) - position;
    }
    for (; filled < n; filled++, carry = 1.0, old = level) x[filled] = old + carry * (level - old);
    for (size_t i = 0; i < n; i++) x[i] += p->noise * (lay_random_unit(&p->random) * 2.0 - 1.0) * sqrt(3.0);
}
