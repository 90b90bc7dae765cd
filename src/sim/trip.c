#include "trip.h"

#include <math.h>

static const double all_but_still_hz = 5; /* 300 rpm: no engine idles there */

/* ---- curves ---- */

/* u^2 (3 - 2 u) has the integral u^3 - u^4 / 2. */
static double passage_hz(const lay_sim_piece *p, double t) {
    double u = (t - p->start) / (p->end - p->start);
    return p->from_hz + (p->to_hz - p->from_hz) * u * u * (3.0 - 2.0 * u);
}

static double passage_turns(const lay_sim_piece *p, double t) {
    double seconds = p->end - p->start, u = (t - p->start) / seconds;
    return seconds * (p->from_hz * u + (p->to_hz - p->from_hz) * u * u * u * (1.0 - 0.5 * u));
}

static void piece_at(const lay_sim_piece *p, const lay_sim_profile *profile, double t, double *turns, double *hz) {
    if (p->scale > 0) {
        *hz = p->scale * lay_sim_profile_hz(profile, t);
        *turns = p->turns + p->scale * (lay_sim_profile_turns(profile, t) - lay_sim_profile_turns(profile, p->start));
    } else {
        double inside = fmin(t, p->end); /* the last piece holds its speed on */
        *hz = passage_hz(p, inside);
        *turns = p->turns + passage_turns(p, inside) + *hz * (t - inside);
    }
}

double lay_sim_curve_end(const lay_sim_curve *curve) {
    return curve->count > 0 ? curve->piece[curve->count - 1].end : 0.0;
}

void lay_sim_curve_at(const lay_sim_curve *curve, const lay_sim_profile *profile, double t, double *turns, double *hz) {
    if (curve->count == 0) {
        *turns = lay_sim_profile_turns(profile, t);
        *hz = lay_sim_profile_hz(profile, t);
        return;
    }
    size_t i = 0;
    while (i + 1 < curve->count && t >= curve->piece[i].end) i++;
    piece_at(&curve->piece[i], profile, t, turns, hz);
}

static void append(lay_sim_curve *curve, const lay_sim_profile *profile, lay_sim_piece piece, double seconds) {
    if (curve->count == LAY_SIM_PIECES || !(seconds > 0)) return;
    piece.start = lay_sim_curve_end(curve);
    piece.end = piece.start + seconds;
    piece.from_hz = piece.to_hz;
    if (curve->count > 0) lay_sim_curve_at(curve, profile, piece.start, &piece.turns, &piece.from_hz);
    curve->piece[curve->count++] = piece;
}

void lay_sim_curve_follow(lay_sim_curve *curve, const lay_sim_profile *profile, double until, double scale) {
    append(curve, profile, (lay_sim_piece){.scale = scale}, until - lay_sim_curve_end(curve));
}

void lay_sim_curve_pass(lay_sim_curve *curve, const lay_sim_profile *profile, double seconds, double to_hz) {
    append(curve, profile, (lay_sim_piece){.to_hz = to_hz}, seconds);
}

/* ---- events ---- */

static const char *const event_names[] = {
    [LAY_SIM_SHIFT] = "shift", [LAY_SIM_START] = "start", [LAY_SIM_CLUTCH] = "clutch", [LAY_SIM_BLIP] = "blip",
    [LAY_SIM_STOP] = "stop",   [LAY_SIM_OFF] = "off",     [LAY_SIM_SPEECH] = "speech", [LAY_SIM_MUSIC] = "music",
};

const char *lay_sim_event_name(lay_sim_event_kind kind) {
    return event_names[kind];
}

static double step(double x) {
    return x <= 0 ? 0 : x >= 1 ? 1 : x * x * (3.0 - 2.0 * x);
}

/* Share of the load that passes the clutch: it takes a moment to open and to close. */
static double clutch_closed(const lay_sim_trip *trip, double t) {
    const double edge = 0.15; /* s */
    double closed = 1;
    for (size_t i = 0; i < trip->event_count; i++) {
        const lay_sim_event *e = &trip->events[i];
        if (e->parts && t > e->open - edge && t < e->to + edge)
            closed *= 1.0 - step((t - e->open) / edge + 1.0) * step((e->to - t) / edge + 1.0);
    }
    return closed;
}

void lay_sim_trip_at(const lay_sim_trip *trip, const lay_sim_profile *profile, double t, lay_sim_moment *out) {
    const double change_s = 0.04;
    *out = (lay_sim_moment){.load = lay_sim_profile_load(profile, t), .geared = 1};
    lay_sim_curve_at(&trip->shaft, profile, t, &out->turns, &out->hz);
    if (trip->event_count == 0) {
        out->crank_turns = out->turns;
        out->crank_hz = out->road_hz = out->hz;
        return;
    }
    lay_sim_curve_at(&trip->crank, profile, t, &out->crank_turns, &out->crank_hz);
    out->load *= clutch_closed(trip, t);
    if (trip->geared_at > 0) out->geared = step((t - trip->geared_at) / change_s + 0.5);
    /* Until the synchroniser has done its work the wheels follow the profile, the shaft does not. */
    bool shifting = trip->geared_at > 0 && t < trip->events[0].to;
    out->road_hz = shifting ? lay_sim_profile_hz(profile, t) : out->hz;
}

double lay_sim_trip_shaft_hz(const lay_sim_trip *trip, const lay_sim_profile *profile, double t) {
    double turns, hz;
    lay_sim_curve_at(&trip->shaft, profile, t, &turns, &hz);
    bool synchronised = true;
    for (size_t i = 0; i < trip->event_count; i++)
        if (trip->events[i].kind == LAY_SIM_SHIFT && t < trip->events[i].to) synchronised = false;
    return synchronised && hz >= all_but_still_hz ? hz : 0.0;
}

double lay_sim_trip_joined_hz(const lay_sim_trip *trip, const lay_sim_profile *profile, double t) {
    for (size_t i = 0; i < trip->event_count; i++)
        if (trip->events[i].parts && t >= trip->events[i].from && t <= trip->events[i].to) return 0.0;
    return lay_sim_trip_shaft_hz(trip, profile, t);
}
