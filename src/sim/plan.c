/* Which runs a workshop would record: neutral, the gear of the complaint on drive and coast, others to compare. */
#include "scene.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

lay_status lay_sim_run_solve(const lay_unit *unit, int gear, lay_sim_run *run, lay_error *err) {
    run->gear = gear;
    lay_status status = lay_unit_solve(unit, gear, &run->kinematics, err);
    if (status == LAY_OK) status = lay_unit_expect(unit, &run->kinematics, &run->expected, &run->expected_count, err);
    if (status != LAY_OK)
        lay_sim_run_free(run);
    else if (unit->output >= 0)
        run->output_order = fabs(run->kinematics.speed[unit->output].value);
    return status;
}

/* Most gears drive forward: the sense of the majority. A two-shaft box turns its output against the input. */
static double forward_sense(const lay_unit *unit) {
    double votes = 0;
    for (size_t g = 0; g < unit->gear_count && unit->output >= 0; g++) {
        lay_kinematics k = {0};
        if (lay_unit_solve(unit, (int)g, &k, NULL) != LAY_OK) continue;
        votes += k.speed[unit->output].value > 0 ? 1.0 : k.speed[unit->output].value < 0 ? -1.0 : 0.0;
        lay_kinematics_free(&k);
    }
    return votes < 0 ? -1.0 : 1.0;
}

bool lay_sim_run_backward(const lay_unit *unit, const lay_sim_run *run) {
    return unit->output >= 0 && run->kinematics.speed[unit->output].value * forward_sense(unit) < 0;
}

int lay_sim_gear_below(const lay_unit *unit, const lay_sim_run *run) {
    int below = -1;
    double best = 0;
    if (lay_sim_run_backward(unit, run)) return below;
    for (size_t g = 0; g < unit->gear_count; g++) {
        lay_sim_run other = {0};
        if (lay_sim_run_solve(unit, (int)g, &other, NULL) != LAY_OK) continue;
        bool lower = !lay_sim_run_backward(unit, &other) && other.output_order < 0.95 * run->output_order;
        if (lower && other.output_order > best) best = other.output_order, below = (int)g;
        lay_sim_run_free(&other);
    }
    return below;
}

typedef struct gears {
    int forward[64], forward_count, neutral, reverse; /* -1: none */
} gears;

static void sort_gears(const lay_unit *unit, gears *out) {
    *out = (gears){.neutral = -1, .reverse = -1};
    for (size_t g = 0; g < unit->gear_count; g++) {
        lay_sim_run run = {0};
        if (lay_sim_run_solve(unit, (int)g, &run, NULL) != LAY_OK) continue;
        bool stands = unit->output >= 0 && !(run.output_order > 0);
        if (stands || strcasecmp(unit->gears[g].name, "N") == 0)
            out->neutral = (int)g;
        else if (lay_sim_run_backward(unit, &run))
            out->reverse = (int)g;
        else if (out->forward_count < 64)
            out->forward[out->forward_count++] = (int)g;
        lay_sim_run_free(&run);
    }
}

/* Gears to complain about: those in which the fault can be heard. */
static int complaint_gear(lay_sim_scene *scene, const gears *g, const lay_fault *fault, double choice) {
    int found[65], count = 0;
    for (int i = 0; i <= g->forward_count; i++) {
        int gear = i < g->forward_count ? g->forward[i] : g->reverse;
        lay_sim_run run = {0};
        if (gear < 0 || (i == g->forward_count && count > 0)) continue;
        if (lay_sim_run_solve(scene->unit, gear, &run, NULL) != LAY_OK) continue;
        if (lay_sim_fault_sings(fault, &run)) found[count++] = gear;
        lay_sim_run_free(&run);
    }
    return count > 0 ? found[(int)(choice * count)] : -1;
}

static bool planned(const lay_sim_scene *scene, int gear, lay_load load, lay_sim_motion motion) {
    for (size_t i = 0; i < scene->run_count; i++)
        if (scene->runs[i].gear == gear && scene->runs[i].load == load && scene->runs[i].motion == motion) return true;
    return false;
}

/* Speed ranges in rpm. On the road first gear and reverse stay slow; a steady run holds one speed. */
static void draw_profile(lay_sim_scene *scene, lay_sim_run *run, bool is_short) {
    lay_random day = lay_sim_stream(&scene->options, LAY_SIM_STREAM_PROFILE + scene->run_count), *r = &day;
    double low = lay_random_between(r, 1100, 1500), high = lay_random_between(r, 2900, 3700);
    if (run->load == LAY_LOAD_NONE) low = 850, high = lay_random_between(r, 2000, 3200);
    if (scene->traits->vehicle && run->output_order > 0 && run->output_order < 0.3) high = fmin(high, 3200);
    if (lay_sim_run_backward(scene->unit, run)) high = 2000;
    if (run->motion == LAY_SIM_STEADY) {
        double at = lay_random_between(r, run->load == LAY_LOAD_NONE ? 850 : 1400, fmin(high, 2900));
        low = high = at;
    }
    double seconds = scene->options.seconds;
    if (seconds <= 0) seconds = is_short ? lay_random_between(r, 3, 5) : lay_random_between(r, 8, 15);
    if (scene->options.seconds <= 0 && scene->options.events) seconds *= 1.5; /* room for them */
    bool lifts = run->load != LAY_LOAD_NONE && lay_random_int(r, 0, 9) < scene->traits->load_changes_in_ten;
    lay_sim_profile_draw(r, run->motion, run->load, low, high, seconds, lifts, &run->profile);
}

static lay_status add_run(lay_sim_scene *scene, int gear, lay_load load, lay_sim_motion motion, bool is_short,
                          lay_error *err) {
    if (scene->run_count == LAY_SIM_RUNS_MAX || gear < 0 || planned(scene, gear, load, motion)) return LAY_OK;
    lay_sim_run *run = &scene->runs[scene->run_count];
    lay_status status = lay_sim_run_solve(scene->unit, gear, run, err);
    if (status != LAY_OK) return status;
    run->load = load;
    run->motion = motion;
    draw_profile(scene, run, is_short);
    scene->run_count++;
    return LAY_OK;
}

/* One run more: another gear, the other load, a steady or short one. */
static lay_status add_any(lay_sim_scene *scene, const gears *g, int complaint, lay_error *err) {
    lay_random *r = &scene->random;
    int gear = lay_random_unit(r) < 0.3 ? complaint : g->forward[lay_random_int(r, 0, g->forward_count - 1)];
    double u = lay_random_unit(r);
    if (u < 0.4) return add_run(scene, gear, LAY_LOAD_DRIVE, LAY_SIM_UP, false, err);
    if (u < 0.65) return add_run(scene, gear, LAY_LOAD_COAST, LAY_SIM_DOWN, false, err);
    if (u < 0.8) return add_run(scene, gear, LAY_LOAD_STEADY, LAY_SIM_STEADY, false, err);
    if (u < 0.9) return add_run(scene, gear, LAY_LOAD_DRIVE, LAY_SIM_STEADY, false, err);
    return add_run(scene, gear, LAY_LOAD_DRIVE, LAY_SIM_STEADY, true, err);
}

static lay_status add_complaint(lay_sim_scene *scene, int gear, lay_error *err) {
    lay_status status = add_run(scene, gear, LAY_LOAD_DRIVE, LAY_SIM_UP, false, err);
    if (status == LAY_OK) status = add_run(scene, gear, LAY_LOAD_COAST, LAY_SIM_DOWN, false, err);
    return status;
}

lay_status lay_sim_scene_plan(lay_sim_scene *scene, lay_error *err) {
    gears g;
    sort_gears(scene->unit, &g);
    if (g.forward_count == 0)
        return lay_fail(err, LAY_BAD_INPUT, "the unit has no forward gear that could be recorded");
    lay_random *r = &scene->random;
    double choice = lay_random_unit(r); /* drawn in any case: a healthy job is planned like a faulty one */
    int complaint = scene->fault_count > 0 ? complaint_gear(scene, &g, &scene->faults[0], choice) : -1;
    if (complaint < 0) complaint = g.forward[(int)(choice * g.forward_count)];
    bool idle = lay_random_unit(r) < 0.5;
    lay_status status = add_run(scene, g.neutral, LAY_LOAD_NONE, idle ? LAY_SIM_STEADY : LAY_SIM_UP, false, err);
    if (status == LAY_OK) status = add_complaint(scene, complaint, err);
    for (size_t i = 1; i < scene->fault_count && status == LAY_OK; i++)
        status = add_complaint(scene, complaint_gear(scene, &g, &scene->faults[i], lay_random_unit(r)), err);
    size_t wanted = (size_t)lay_random_int(r, 4, 9);
    for (int tries = 0; tries < 60 && status == LAY_OK && scene->run_count < wanted; tries++)
        status = add_any(scene, &g, complaint, err);
    static const char *const loads[LAY_LOAD_COUNT] = {"", "drive", "coast", "steady", "neutral"};
    for (size_t i = 0; i < scene->run_count; i++) {
        lay_sim_run *run = &scene->runs[i];
        snprintf(run->file, sizeof run->file, "run%02zu-%s", i + 1, loads[run->load]);
    }
    return status;
}
