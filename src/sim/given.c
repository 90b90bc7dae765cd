#include "rpm_log.h"
#include "scene.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static const char *const names[] = {
    [LAY_GIVEN_STATED] = "stated", [LAY_GIVEN_ROUGH] = "rough", [LAY_GIVEN_RANGE] = "range", [LAY_GIVEN_NONE] = "none",
    [LAY_GIVEN_LOG] = "log",       [LAY_GIVEN_ROAD] = "road",   [LAY_GIVEN_MIXED] = "mixed",
};
_Static_assert(sizeof names / sizeof names[0] == LAY_GIVEN_COUNT, "one name per kind");

const char *lay_speed_given_name(lay_speed_given given) {
    return (unsigned)given < LAY_GIVEN_COUNT ? names[given] : "";
}

bool lay_speed_given_parse(const char *text, lay_speed_given *out) {
    for (int i = 0; i < LAY_GIVEN_COUNT; i++)
        if (strcasecmp(text, names[i]) == 0) {
            *out = (lay_speed_given)i;
            return true;
        }
    return false;
}

/* ---- the kinds ---- */

static double rounded(double rpm) {
    return 50.0 * round(rpm / 50.0);
}

/* A number when steady, else a range; every end is off on its own. */
static void rough(lay_random *r, const lay_sim_run *run, lay_sim_given *out) {
    double low, mean, high, off[2];
    lay_sim_profile_range(&run->profile, &low, &mean, &high);
    for (int i = 0; i < 2; i++) off[i] = 1.0 + 0.03 * lay_random_normal(r);
    if (run->motion == LAY_SIM_STEADY)
        snprintf(out->rpm, sizeof out->rpm, "%.0f", rounded(60.0 * mean * off[0]));
    else
        snprintf(out->rpm, sizeof out->rpm, "%.0f-%.0f", rounded(60.0 * low * off[0]), rounded(60.0 * high * off[1]));
}

static void wide(lay_random *r, const lay_sim_run *run, lay_sim_given *out) {
    double low, mean, high, below = lay_random_between(r, 0.05, 0.3), above = lay_random_between(r, 0.05, 0.3);
    lay_sim_profile_range(&run->profile, &low, &mean, &high);
    snprintf(out->rpm, sizeof out->rpm, "%.0f-%.0f", rounded(60.0 * low * (1.0 - below)),
             rounded(60.0 * high * (1.0 + above)));
}

static void log_of(lay_random *r, const lay_sim_run *run, lay_sim_given *out) {
    size_t stem = strcspn(run->file, ".");
    snprintf(out->log_file, sizeof out->log_file, "%.*s-log.csv", (int)stem, run->file);
    lay_sim_log_draw(r, run->profile.seconds, &out->log);
}

/* Road speed as a navigator shows it: true, but whole. */
static void road(const lay_sim_run *run, const lay_sim_tyre *tyre, bool miles, lay_sim_given *out) {
    const lay_expected *axle = lay_sim_run_part(run, LAY_PART_AXLE, 0);
    if (run->motion != LAY_SIM_STEADY || !axle || !(axle->wheel_order[1] > 0)) return;
    double low, mean, high;
    lay_sim_profile_range(&run->profile, &low, &mean, &high);
    double km_h = 3.6 * mean * axle->wheel_order[1] * tyre->rolled_m;
    snprintf(out->road_speed, sizeof out->road_speed, miles ? "%.0f mph" : "%.0f km/h", miles ? km_h / 1.609344 : km_h);
}

/* Loaded wheels roll 3 % less than the free tyre's circumference; wear and pressure move that by 1.5 % (common
 * practice, no source). What the unit file says goes before what is drawn. */
lay_sim_tyre lay_sim_tyre_draw(const lay_sim_scene *scene) {
    static const int sizes[][3] = {{175, 70, 13}, {195, 65, 15}, {205, 55, 16}, {225, 75, 16}, {215, 60, 17}};
    lay_random random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_GIVEN);
    const int *size = sizes[lay_random_int(&random, 0, 4)];
    lay_sim_tyre tyre = {.width_mm = size[0], .aspect = size[1], .rim_inch = size[2]};
    double outline_mm = 25.4 * size[2] + 2.0 * 0.01 * size[1] * size[0], stated_m = scene->unit->axle.rolling_m;
    double rolled_m = 0.97 * LAY_PI * 1e-3 * outline_mm;
    tyre.rolled_m = (stated_m > 0 ? stated_m : rolled_m) * lay_random_between(&random, 0.985, 1.015);
    return tyre;
}

void lay_sim_scene_given(lay_sim_scene *scene) {
    lay_sim_tyre tyre = lay_sim_tyre_draw(scene);
    lay_random job = lay_sim_stream(&scene->options, LAY_SIM_STREAM_GIVEN + 1);
    bool miles = lay_random_unit(&job) < 0.4;
    for (size_t i = 0; i < scene->run_count; i++) {
        lay_sim_run *run = &scene->runs[i];
        lay_random random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_GIVEN + 2 + i);
        lay_speed_given drawn = (lay_speed_given)lay_random_int(&random, 0, LAY_GIVEN_MIXED - 1);
        run->given.kind = scene->options.speed_given == LAY_GIVEN_MIXED ? drawn : scene->options.speed_given;
        switch (run->given.kind) {
        case LAY_GIVEN_ROUGH:
            rough(&random, run, &run->given);
            break;
        case LAY_GIVEN_RANGE:
            wide(&random, run, &run->given);
            break;
        case LAY_GIVEN_LOG:
            log_of(&random, run, &run->given);
            break;
        case LAY_GIVEN_ROAD:
            road(run, &tyre, miles, &run->given);
            break;
        default:
            break; /* stated: table.c, in the order of its rows */
        }
    }
}
