#include "truth.h"

#include "bearing.h"
#include "trains.h"
#include "twins.h"

#include <math.h>
#include <string.h>

static void quoted(lay_text *out, const char *text) {
    if (!text) {
        lay_text_add(out, "null");
        return;
    }
    lay_text_add(out, "\"");
    for (const unsigned char *c = (const unsigned char *)text; *c; c++) {
        if (*c == '"' || *c == '\\')
            lay_text_add(out, "\\%c", *c);
        else if (*c < 0x20)
            lay_text_add(out, "\\u%04x", *c);
        else
            lay_text_add(out, "%c", *c);
    }
    lay_text_add(out, "\"");
}

/* The part the fault sits in; false for a tone that belongs to none. */
static bool fault_part(const lay_fault *f, lay_part_type *type, int *index) {
    *index = 0;
    switch (f->kind) {
    case LAY_FAULT_MESH:
    case LAY_FAULT_ECCENTRIC:
    case LAY_FAULT_CHIP:
    case LAY_FAULT_GHOST:
        *type = LAY_PART_MESH, *index = f->index;
        return true;
    case LAY_FAULT_OUTER:
    case LAY_FAULT_INNER:
    case LAY_FAULT_ELEMENT:
    case LAY_FAULT_CAGE:
        *type = LAY_PART_BEARING, *index = f->index;
        return true;
    case LAY_FAULT_AXLE:
        *type = LAY_PART_AXLE;
        return true;
    case LAY_FAULT_ROTOR:
        *type = LAY_PART_ROTOR, *index = f->index;
        return true;
    default:
        return false;
    }
}

static bool outside(lay_fault_kind kind) {
    return kind == LAY_FAULT_AXLE || kind == LAY_FAULT_ROTOR || kind == LAY_FAULT_UNKNOWN_TONE;
}

static const char *outcome(const lay_sim_scene *scene) {
    const char *found = "clear";
    for (size_t i = 0; i < scene->fault_count; i++) {
        if (!outside(scene->faults[i].kind)) return "attention";
        found = "outside";
    }
    return found;
}

static void write_twins(const lay_sim_scene *scene, const lay_fault *f, lay_part_type type, int index, lay_text *out) {
    const lay_sim_run *any = &scene->runs[0];
    const lay_expected *part = lay_sim_run_part(any, type, index);
    const char *comma = "";
    for (size_t i = 0; part && i < any->expected_count; i++) {
        const lay_expected *other = &any->expected[i];
        if (other == part || other->type != type || !lay_sim_inseparable(scene, f, part, other)) continue;
        lay_text_add(out, "%s", comma);
        quoted(out, other->name);
        comma = ",";
    }
}

static void write_angle(const lay_sim_scene *scene, size_t fault, lay_text *out) {
    const lay_fault *f = &scene->faults[fault];
    for (size_t i = 0; f->kind == LAY_FAULT_CHIP && lay_sim_chip_marked(scene, fault) && i < scene->run_count; i++) {
        const lay_expected *mesh = lay_sim_run_part(&scene->runs[i], LAY_PART_MESH, f->index);
        if (!mesh || !mesh->loaded) continue;
        lay_text_add(out, ",\"angle\":%.6f", lay_sim_chip_angle(scene, fault, &scene->runs[i]));
        return;
    }
}

static bool in_one_wheel(lay_fault_kind kind) {
    return kind == LAY_FAULT_ECCENTRIC || kind == LAY_FAULT_CHIP || kind == LAY_FAULT_GHOST;
}

static void write_condition(const lay_sim_scene *scene, const lay_fault *f, lay_text *out) {
    const lay_mesh *mesh = &scene->unit->meshes[f->index];
    bool wheel = f->condition == LAY_CONDITION_ASKEW || f->condition == LAY_CONDITION_LOOSE ||
                 f->condition == LAY_CONDITION_CRACKED;
    lay_text_add(out, ",\"condition\":\"%s\",\"condition_body\":", lay_condition_name(f->condition));
    quoted(out, wheel ? scene->unit->bodies[f->wheel == 0 ? mesh->driver.body : mesh->driven.body].name : NULL);
}

/* The mate of a ghost's wheel, where waves on it would make the very same tone. */
static const char *ghost_mate(const lay_sim_scene *scene, const lay_fault *f) {
    const lay_mesh *mesh = &scene->unit->meshes[f->index];
    const lay_wheel *own = f->wheel == 0 ? &mesh->driver : &mesh->driven,
                    *mate = f->wheel == 0 ? &mesh->driven : &mesh->driver;
    return f->multiple * mate->teeth % own->teeth == 0 ? scene->unit->bodies[mate->body].name : NULL;
}

static void write_fault(const lay_sim_scene *scene, size_t fault, lay_text *out) {
    const lay_fault *f = &scene->faults[fault];
    lay_part_type type = LAY_PART_MESH;
    int index = 0;
    bool known = fault_part(f, &type, &index);
    const lay_expected *part = known ? lay_sim_run_part(&scene->runs[0], type, index) : NULL;
    const char *body = NULL;
    if (in_one_wheel(f->kind)) {
        const lay_mesh *mesh = &scene->unit->meshes[f->index];
        body = scene->unit->bodies[f->wheel == 0 ? mesh->driver.body : mesh->driven.body].name;
    }
    lay_text_add(out, "{\"part\":");
    quoted(out, part ? part->name : NULL);
    lay_text_add(out, ",\"kind\":\"%s\",\"body\":", outside(f->kind) ? "outside" : lay_fault_kind_name(f->kind));
    quoted(out, body);
    lay_text_add(out, ",\"strength_db\":%.2f,\"flank\":\"%s\"", f->strength_db,
                 f->drive && f->coast ? "both"
                 : f->drive           ? "drive"
                                      : "coast");
    if (f->kind == LAY_FAULT_GHOST) {
        lay_text_add(out, ",\"multiple\":%d,\"or_body\":", f->multiple);
        quoted(out, ghost_mate(scene, f));
    }
    if (f->condition != LAY_CONDITION_PLAIN) write_condition(scene, f, out);
    write_angle(scene, fault, out);
    lay_text_add(out, ",\"not_separable_from\":[");
    if (known) write_twins(scene, f, type, index, out);
    lay_text_add(out, "]}");
}

/* The step grows with very long runs: the list stays within some 200 kB. */
static double speed_step(const lay_sim_run *run) {
    return fmax(0.05, run->profile.seconds / 20000.0);
}

typedef double speed_at(const lay_sim_trip *trip, const lay_sim_profile *profile, double t);

static void write_speeds(const lay_sim_run *run, const char *key, speed_at *at, lay_text *out) {
    double step = speed_step(run);
    lay_text_add(out, ",\"%s\":[", key);
    for (long k = 0; (double)k * step <= run->profile.seconds; k++) {
        double hz = at(&run->trip, &run->profile, (double)k * step);
        if (k > 0) lay_text_add(out, ",");
        if (hz > 0)
            lay_text_add(out, "%.3f", 60.0 * hz);
        else
            lay_text_add(out, "null");
    }
    lay_text_add(out, "]");
}

static void write_speed(const lay_sim_run *run, lay_text *out) {
    lay_text_add(out, ",\n   \"speed\":{\"step_s\":%.6g", speed_step(run));
    write_speeds(run, "rpm", lay_sim_trip_joined_hz, out);
    if (run->trip.event_count > 0) write_speeds(run, "shaft_rpm", lay_sim_trip_shaft_hz, out);
    lay_text_add(out, "}");
}

static void write_given(const lay_sim_scene *scene, const lay_sim_run *run, lay_text *out) {
    if (!scene->options.tach) lay_text_add(out, ",\"given\":\"%s\"", lay_speed_given_name(run->given.kind));
    const lay_sim_log *log = &run->given.log;
    if (run->given.kind == LAY_GIVEN_LOG)
        lay_text_add(out, ",\"log\":{\"offset_s\":%.6f,\"drift\":%.9f,\"lag_s\":%.4f}", log->offset_s, log->drift,
                     log->lag_s);
}

static void write_events(const lay_sim_trip *trip, lay_text *out) {
    for (size_t i = 0; i < trip->event_count; i++)
        lay_text_add(out, "%s{\"kind\":\"%s\",\"from_s\":%.3f,\"to_s\":%.3f}", i > 0 ? "," : ",\"events\":[",
                     lay_sim_event_name(trip->events[i].kind), trip->events[i].from, trip->events[i].to);
    if (trip->event_count > 0) lay_text_add(out, "]");
}

/* Strikes per turn of the reference, 0: none. */
static double impact_order(const lay_sim_scene *scene, const lay_sim_run *run, const lay_fault *f) {
    lay_sim_bearing_orders orders;
    if (f->kind != LAY_FAULT_CHIP)
        return lay_sim_bearing_solve(scene, run, f->index, &orders) ? lay_sim_bearing_order(&orders, f->kind) : 0;
    const lay_expected *mesh = lay_sim_run_part(run, LAY_PART_MESH, f->index);
    return mesh && mesh->turning && mesh->loaded ? mesh->wheel_order[f->wheel] : 0;
}

static void write_impacts(const lay_sim_scene *scene, const lay_sim_run *run, lay_text *out) {
    bool any = false;
    for (size_t i = 0; i < scene->fault_count; i++) any = any || lay_sim_fault_impulsive(scene->faults[i].kind);
    for (size_t i = 0; any && i < scene->fault_count; i++) {
        const lay_fault *f = &scene->faults[i];
        double order = lay_sim_fault_impulsive(f->kind) ? impact_order(scene, run, f) : 0;
        lay_text_add(out, "%s", i > 0 ? "," : ",\"impact_orders\":[");
        if (order > 0)
            lay_text_add(out, "%.6f", order);
        else
            lay_text_add(out, "null");
    }
    if (any) lay_text_add(out, "]");
}

static void write_run(const lay_sim_scene *scene, const lay_sim_run *run, lay_text *out) {
    double low, mean, high;
    lay_sim_profile_range(&run->profile, &low, &mean, &high);
    lay_text_add(out, "{\"file\":");
    quoted(out, run->file);
    lay_text_add(out, ",\"gear\":");
    quoted(out, scene->unit->gears[run->gear].name);
    lay_text_add(out, ",\"load\":\"%s\",\"min_rpm\":%.3f,\"mean_rpm\":%.3f,\"max_rpm\":%.3f", lay_load_name(run->load),
                 60.0 * low, 60.0 * mean, 60.0 * high);
    write_given(scene, run, out);
    write_impacts(scene, run, out);
    write_events(&run->trip, out);
    if (scene->options.speed_truth) write_speed(run, out);
    lay_text_add(out, "}");
}

#define PEAK_DB 3.0 /* over the higher valley beside it */

/* Lowest gain from step `at` on in direction `by`, until it rises over the one at `at` or ends. */
static double valley(const lay_sim_floor *noise, int at, int by) {
    double least = noise->gain[at];
    for (int i = at + by; i > 0 && i < LAY_SIM_GRID && noise->gain[i] <= noise->gain[at]; i += by)
        least = fmin(least, noise->gain[i]);
    return least;
}

/* Where the structure answers more than around: peaks of its gain. */
static void write_resonances(const lay_sim_floor *noise, lay_text *out) {
    const char *comma = "";
    for (int i = 1; i < LAY_SIM_GRID; i++) {
        if (noise->gain[i] < noise->gain[i - 1] || noise->gain[i] <= noise->gain[i + 1]) continue;
        double around = fmax(valley(noise, i, -1), valley(noise, i, 1)), db = 20 * log10(noise->gain[i] / around);
        if (!(db >= PEAK_DB)) continue;
        lay_text_add(out, "%s{\"hz\":%.1f,\"gain_db\":%.2f}", comma, 0.5 * noise->rate * i / LAY_SIM_GRID, db);
        comma = ",";
    }
}

void lay_sim_truth_write(const lay_sim_scene *scene, lay_text *out) {
    lay_text_add(out, "{\"seed\":%llu,\"world\":\"%s\",\"outcome\":\"%s\",\"clipped\":%s,\n \"faults\":[",
                 (unsigned long long)scene->options.seed, scene->traits->name, outcome(scene),
                 scene->clips ? "true" : "false");
    for (size_t i = 0; i < scene->fault_count; i++) {
        if (i > 0) lay_text_add(out, ",\n  ");
        write_fault(scene, i, out);
    }
    lay_text_add(out, "],\n \"resonances\":[");
    write_resonances(&scene->noise, out);
    lay_text_add(out, "],\n \"runs\":[");
    for (size_t i = 0; i < scene->run_count; i++) {
        if (i > 0) lay_text_add(out, ",\n  ");
        write_run(scene, &scene->runs[i], out);
    }
    lay_text_add(out, "]}\n");
}
