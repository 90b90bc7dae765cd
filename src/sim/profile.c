#include "profile.h"

#include <math.h>

/* Share of the way from `from_hz` to `to_hz` at u = t / seconds: s(u) = u + bend sin(2 pi u) / (2 pi), rising because
 * s' = 1 + bend cos(2 pi u) > 0; its integral over time gives the angle exactly. */
static double way(const lay_sim_profile *p, double u) {
    return u + p->bend * sin(2.0 * LAY_PI * u) / (2.0 * LAY_PI);
}

static double way_integral(const lay_sim_profile *p, double u) {
    return 0.5 * u * u + p->bend * (1.0 - cos(2.0 * LAY_PI * u)) / (4.0 * LAY_PI * LAY_PI);
}

double lay_sim_profile_hz(const lay_sim_profile *p, double t) {
    double hz = p->from_hz + (p->to_hz - p->from_hz) * way(p, t / p->seconds);
    for (int i = 0; i < LAY_SIM_WANDERS; i++)
        hz += p->wander_hz[i] * sin(2.0 * LAY_PI * p->wander_rate[i] * t + p->wander_phase[i]);
    return hz;
}

double lay_sim_profile_turns(const lay_sim_profile *p, double t) {
    double turns = p->from_hz * t + (p->to_hz - p->from_hz) * p->seconds * way_integral(p, t / p->seconds);
    for (int i = 0; i < LAY_SIM_WANDERS; i++) {
        double w = 2.0 * LAY_PI * p->wander_rate[i];
        turns += p->wander_hz[i] / w * (cos(p->wander_phase[i]) - cos(w * t + p->wander_phase[i]));
    }
    return turns;
}

static double smooth_step(double x) {
    return x <= 0 ? 0 : x >= 1 ? 1 : x * x * (3.0 - 2.0 * x);
}

double lay_sim_profile_load(const lay_sim_profile *p, double t) {
    double load = p->load + p->load_wander * sin(2.0 * LAY_PI * p->load_rate * t + p->load_phase);
    if (p->lift_s > 0) {
        const double edge = 0.2; /* s a foot takes */
        double in = smooth_step((t - p->lift_at) / edge) - smooth_step((t - p->lift_at - p->lift_s) / edge);
        load += (p->lift_load - load) * in;
    }
    return load < -1 ? -1 : load > 1 ? 1 : load;
}

void lay_sim_profile_range(const lay_sim_profile *p, double *min_hz, double *mean_hz, double *max_hz) {
    const int steps = 400;
    *min_hz = *max_hz = lay_sim_profile_hz(p, 0.0);
    for (int i = 1; i <= steps; i++) {
        double hz = lay_sim_profile_hz(p, p->seconds * i / steps);
        *min_hz = fmin(*min_hz, hz);
        *max_hz = fmax(*max_hz, hz);
    }
    *mean_hz = lay_sim_profile_turns(p, p->seconds) / p->seconds;
}

static void draw_load(lay_random *random, lay_load load, lay_sim_profile *p) {
    static const double low[LAY_LOAD_COUNT] = {
        [LAY_LOAD_DRIVE] = 0.75, [LAY_LOAD_COAST] = -1.0, [LAY_LOAD_STEADY] = 0.2};
    static const double high[LAY_LOAD_COUNT] = {
        [LAY_LOAD_DRIVE] = 1.0, [LAY_LOAD_COAST] = -0.7, [LAY_LOAD_STEADY] = 0.45};
    p->load = lay_random_between(random, low[load], high[load]);
    p->load_wander = load == LAY_LOAD_NONE ? 0.0 : lay_random_between(random, 0.02, 0.1);
    p->load_rate = lay_random_between(random, 0.1, 0.6);
    p->load_phase = lay_random_between(random, 0, 2.0 * LAY_PI);
}

void lay_sim_profile_draw(lay_random *random, lay_sim_motion motion, lay_load load, double low_rpm, double high_rpm,
                          double seconds, bool lifts, lay_sim_profile *out) {
    lay_sim_profile p = {.seconds = seconds};
    bool steady = motion == LAY_SIM_STEADY;
    double middle = 0.5 * (low_rpm + high_rpm);
    p.from_hz = (steady ? middle : motion == LAY_SIM_UP ? low_rpm : high_rpm) / 60.0;
    p.to_hz = (steady ? middle : motion == LAY_SIM_UP ? high_rpm : low_rpm) / 60.0;
    p.bend = steady ? 0.0 : lay_random_between(random, -0.5, 0.5);
    double depth = (steady ? lay_random_between(random, 0.005, 0.015) : 0.002) * fmin(p.from_hz, p.to_hz);
    for (int i = 0; i < LAY_SIM_WANDERS; i++) {
        p.wander_hz[i] = depth * lay_random_unit(random) / (1 + i);
        p.wander_rate[i] = lay_random_between(random, 0.05, 0.15) * (1 + 3 * i);
        p.wander_phase[i] = lay_random_between(random, 0, 2.0 * LAY_PI);
    }
    draw_load(random, load, &p);
    if (lifts && seconds > 6) {
        p.lift_s = lay_random_between(random, 0.8, 2.0);
        p.lift_at = lay_random_between(random, 1.0, seconds - 3.0);
        p.lift_load = p.load > 0 ? -0.4 : 0.4;
    }
    *out = p;
}
