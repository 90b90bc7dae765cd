/* What happens within a run: gear shift, clutch, blip, standstill, somebody talking. All durations are plausible
 * magnitudes (common practice, no source). */
#include "scene.h"

#include <math.h>
#include <stdlib.h>

/* A run under work. */
typedef struct writer {
    lay_random *random;
    lay_sim_run *run;
    lay_sim_trip *trip;
    const lay_sim_profile *profile;
    double idle_hz;
    bool vehicle; /* else a rig: its drive has no clutch and no gear is shifted */
} writer;

static double between(writer *w, double low, double high) {
    return lay_random_between(w->random, low, high);
}

static double profile_hz(const writer *w, double t) {
    return lay_sim_profile_hz(w->profile, t);
}

static void note(writer *w, lay_sim_event_kind kind, double from, double open, double to) {
    bool parts = kind != LAY_SIM_SPEECH && kind != LAY_SIM_MUSIC && kind != LAY_SIM_OFF && w->vehicle;
    lay_sim_event event = {.kind = kind, .from = from, .to = to, .open = open, .parts = parts};
    if (w->trip->event_count < LAY_SIM_EVENTS_MAX) w->trip->events[w->trip->event_count++] = event;
}

static void shaft_pass(writer *w, double seconds, double to_hz) {
    lay_sim_curve_pass(&w->trip->shaft, w->profile, seconds, to_hz);
}
static void crank_pass(writer *w, double seconds, double to_hz) {
    lay_sim_curve_pass(&w->trip->crank, w->profile, seconds, to_hz);
}
static void crank_follow(writer *w, double until, double scale) {
    lay_sim_curve_follow(&w->trip->crank, w->profile, until, scale);
}

static double events_end(const lay_sim_trip *trip) {
    return trip->event_count > 0 ? trip->events[trip->event_count - 1].to : 0.0;
}

/* The wheels keep their speed through the shift: in the lower gear the shaft turns faster by the step of the gears. */
static lay_status begin_with_shift(writer *w, const lay_unit *unit, int lower, lay_error *err) {
    w->run->lower = lay_calloc(1, sizeof *w->run->lower);
    if (!w->run->lower) return lay_fail(err, LAY_NO_MEMORY, "no memory for a gear shift");
    lay_status status = lay_sim_run_solve(unit, lower, w->run->lower, err);
    if (status != LAY_OK) return status;
    double scale = w->run->output_order / w->run->lower->output_order;
    double open = between(w, 1.5, fmin(4.0, 0.3 * w->profile->seconds)), lever = 0.15, change = between(w, 0.2, 0.5);
    double closed = open + lever + change + between(w, 0.15, 0.4), down = 0.6 * (closed - open);
    lay_sim_curve_follow(&w->trip->shaft, w->profile, open + lever, scale);
    shaft_pass(w, change, profile_hz(w, open + lever + change));
    crank_follow(w, open, scale);
    crank_pass(w, down, between(w, 0.85, 1.05) * profile_hz(w, open + down));
    crank_pass(w, closed - open - down, profile_hz(w, closed));
    w->trip->geared_at = open + lever + 0.5 * change;
    note(w, LAY_SIM_SHIFT, 0, open, closed);
    return LAY_OK;
}

static void begin_standing(writer *w) {
    double stands = between(w, 1, 3), pulls = between(w, 1, 2), away = profile_hz(w, stands + pulls);
    shaft_pass(w, stands, 0);
    shaft_pass(w, pulls, away);
    crank_pass(w, stands, w->idle_hz);
    crank_pass(w, 0.5 * pulls, fmax(w->idle_hz, 0.85 * away));
    crank_pass(w, 0.5 * pulls, away);
    note(w, LAY_SIM_START, 0, 0, stands + pulls);
}

static void clutch_down(writer *w, double from) {
    double fall = between(w, 0.5, 1.0), hold = between(w, 0.5, 3), rise = between(w, 0.4, 0.8);
    double to = from + fall + hold + rise;
    crank_follow(w, from, 1);
    crank_pass(w, fall, w->idle_hz);
    crank_pass(w, hold, w->idle_hz);
    crank_pass(w, rise, profile_hz(w, to));
    note(w, LAY_SIM_CLUTCH, from, from, to);
}

static void blip(writer *w, double from) {
    double rise = between(w, 0.25, 0.5), fall = between(w, 0.6, 1.2), back = 0.3, to = from + rise + fall + back;
    crank_follow(w, from, 1);
    crank_pass(w, rise, between(w, 1.4, 1.9) * profile_hz(w, from));
    crank_pass(w, fall, 0.9 * profile_hz(w, from));
    crank_pass(w, back, profile_hz(w, to));
    note(w, LAY_SIM_BLIP, from, from, to);
}

static const double undisturbed_s = 5; /* at least so much is left between two ends of a run */

/* Clutch down and braked to a standstill; now and then the engine is switched off then. */
static void stop(writer *w) {
    double from = w->profile->seconds - between(w, 2.5, 5.0), brakes = between(w, 1.2, 2.0);
    if (from < events_end(w->trip) + undisturbed_s) return;
    lay_sim_curve_follow(&w->trip->shaft, w->profile, from, 1);
    shaft_pass(w, brakes, 0);
    crank_follow(w, from, 1);
    crank_pass(w, 0.7, w->idle_hz);
    note(w, LAY_SIM_STOP, from, from, w->profile->seconds);
    if (lay_random_unit(w->random) < 0.5) return;
    crank_pass(w, brakes, w->idle_hz);
    crank_pass(w, 0.7, 0);
}

/* In neutral crank and shaft run down together. */
static void switch_off(writer *w) {
    double from = w->profile->seconds - between(w, 1.5, 3.0), runs_down = between(w, 0.7, 1.2);
    lay_sim_curve_follow(&w->trip->shaft, w->profile, from, 1);
    shaft_pass(w, runs_down, 0);
    crank_follow(w, from, 1);
    crank_pass(w, runs_down, 0);
    note(w, LAY_SIM_OFF, from, from, w->profile->seconds);
}

/* A curve that was touched is laid to the end of the run, unless it ends standing. */
static void complete(writer *w) {
    double end = w->profile->seconds;
    if (!w->vehicle) w->trip->crank = w->trip->shaft;
    if (events_end(w->trip) >= end) return;
    if (w->trip->shaft.count > 0) lay_sim_curve_follow(&w->trip->shaft, w->profile, end, 1);
    if (w->trip->crank.count > 0) crank_follow(w, end, 1);
}

static lay_status draw_driving(writer *w, const lay_unit *unit, lay_error *err) {
    int lower = lay_sim_gear_below(unit, w->run);
    double u = lay_random_unit(w->random), end = w->profile->seconds;
    lay_status status = LAY_OK;
    if (u < 0.35 && lower >= 0 && w->vehicle)
        status = begin_with_shift(w, unit, lower, err);
    else if (u < 0.5)
        begin_standing(w);
    double from = events_end(w->trip) + between(w, 1.5, 3.0);
    u = lay_random_unit(w->random);
    bool room = from + 10.0 < end && w->vehicle;
    if (room && u < 0.3)
        clutch_down(w, from);
    else if (room && u < 0.5)
        blip(w, from);
    if (lay_random_unit(w->random) < 0.3) stop(w);
    return status;
}

static void draw_overlay(writer *w) {
    double u = lay_random_unit(w->random), end = w->profile->seconds;
    double from = between(w, 0, 0.5 * end), to = from + between(w, 0.2, 0.5) * end;
    if (u < 0.3) note(w, u < 0.15 ? LAY_SIM_SPEECH : LAY_SIM_MUSIC, from, from, to);
}

lay_status lay_sim_scene_events(lay_sim_scene *scene, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; scene->options.events && i < scene->run_count && status == LAY_OK; i++) {
        lay_sim_run *run = &scene->runs[i];
        lay_random random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_EVENTS + i);
        writer w = {.random = &random, .run = run, .trip = &run->trip, .profile = &run->profile};
        w.vehicle = scene->traits->vehicle;
        w.idle_hz = between(&w, 740, 920) / 60.0;
        bool room = run->profile.seconds >= 2.0 * undisturbed_s;
        if (room && run->output_order > 0)
            status = draw_driving(&w, scene->unit, err);
        else if (room && lay_random_unit(&random) < 0.3)
            switch_off(&w);
        complete(&w);
        draw_overlay(&w);
    }
    return status;
}
