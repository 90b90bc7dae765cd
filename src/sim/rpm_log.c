#include "rpm_log.h"

#include <math.h>

static const char *const time_names[] = {"time", "Time (s)", "timestamp"};
static const char *const rpm_names[] = {"rpm", "Engine RPM", "engine speed (1/min)"};

/* Scan tools ask the engine's computer for one value after the other: 1 to 20 rows per second, a delay of some
 * tenths of a second, quarter or whole rpm, and a clock of their own (common practice, no source). The log's clock
 * starts at 0 with the tool, at most at its first row. */
void lay_sim_log_draw(lay_random *r, double seconds, lay_sim_log *out) {
    *out = (lay_sim_log){.rate_hz = pow(20.0, lay_random_unit(r)),
                         .lag_s = lay_random_between(r, 0.1, 0.5),
                         .quantum_rpm = lay_random_unit(r) < 0.5 ? 0.25 : 1.0,
                         .drift = lay_random_between(r, -200e-6, 200e-6)};
    bool late = lay_random_unit(r) < 0.3, early = lay_random_unit(r) < 0.3;
    out->from_s = late ? lay_random_between(r, 0.02, 0.2) * seconds : -lay_random_between(r, 0.5, 12.0);
    out->to_s = seconds + (early ? -lay_random_between(r, 0.02, 0.2) * seconds : lay_random_between(r, 0.5, 12.0));
    out->offset_s = lay_random_between(r, -20.0, fmin(20.0, out->from_s));
    out->time_name = lay_random_int(r, 0, 2);
    out->rpm_name = lay_random_int(r, 0, 2);
    out->throttle = lay_random_unit(r) < 0.5;
    out->seed = lay_random_bits(r);
}

/* The engine's speed also before and after the recording, where it strays from the end's by up to 8 %. */
static double engine_rpm(const lay_sim_run *run, double t) {
    double inside = fmin(fmax(t, 0.0), run->profile.seconds);
    lay_sim_moment now;
    lay_sim_trip_at(&run->trip, &run->profile, inside, &now);
    return 60.0 * now.crank_hz * (1.0 + 0.08 * sin(0.9 * (t - inside)));
}

void lay_sim_log_write(const lay_sim_run *run, lay_text *out) {
    const lay_sim_log *log = &run->given.log;
    lay_random random;
    lay_random_seed(&random, log->seed);
    lay_text_add(out, "%s,%s%s\n", time_names[log->time_name], log->throttle ? "throttle (%)," : "",
                 rpm_names[log->rpm_name]);
    for (double t = log->from_s; t <= log->to_s;) {
        double rpm = log->quantum_rpm * round(engine_rpm(run, t - log->lag_s) / log->quantum_rpm);
        lay_text_add(out, "%.3f,", (t - log->offset_s) / (1.0 + log->drift));
        if (log->throttle) lay_text_add(out, "%.1f,", 50.0 * (1.0 + lay_sim_profile_load(&run->profile, t)));
        lay_text_add(out, "%.*f\n", log->quantum_rpm < 1 ? 2 : 0, rpm);
        bool hangs = lay_random_unit(&random) < 0.01; /* the bus was busy */
        t += lay_random_between(&random, 0.6, 1.4) / log->rate_hz + (hangs ? 1.0 : 0.0);
    }
}
