#include "table.h"

#include <math.h>
#include <string.h>

static bool turns_always(const lay_sim_scene *scene, int body) {
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_kinematics *k = &scene->runs[i].kinematics;
        if (k->free_body[body] || fabs(k->speed[body].value) < 0.05) return false;
    }
    return true;
}

/* The tach must look at something reachable: a shaft, never a planet. */
static bool reachable(const lay_unit *unit, int body) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (unit->meshes[m].carrier != LAY_CASE && unit->meshes[m].wheels > 1 &&
            (unit->meshes[m].driver.body == body || unit->meshes[m].driven.body == body))
            return false;
    return body != LAY_CASE;
}

lay_sim_tach lay_sim_tach_draw(lay_sim_scene *scene) {
    static const double counts[] = {1, 1, 1, 1, 2, 4, 36, 60};
    lay_random *r = &scene->random;
    lay_sim_tach tach = {.body = scene->unit->reference};
    if (lay_random_unit(r) < 0.25) {
        int body = lay_random_int(r, 1, (int)scene->unit->body_count - 1);
        if (reachable(scene->unit, body) && turns_always(scene, body)) tach.body = body;
    }
    if (scene->options.events) tach.body = scene->unit->reference; /* others change their ratio in a shift */
    double fastest = 0;
    for (size_t i = 0; i < scene->run_count; i++) {
        double low, mean, high;
        lay_sim_profile_range(&scene->runs[i].profile, &low, &mean, &high);
        fastest = fmax(fastest, high * fabs(scene->runs[i].kinematics.speed[tach.body].value));
    }
    do tach.per_turn = counts[lay_random_int(r, 0, 7)];
    while (tach.per_turn > 1 && tach.per_turn * fastest > scene->rate / 8.0);
    return tach;
}

static void cell(lay_text *out, const char *text) {
    if (!strpbrk(text, ",;\"\n\t")) {
        lay_text_add(out, "%s", text);
        return;
    }
    lay_text_add(out, "\"");
    for (; *text; text++) lay_text_add(out, *text == '"' ? "\"\"" : "%c", *text);
    lay_text_add(out, "\"");
}

/* What someone reads off a rev counter: rounded to 50 rpm, off by up to 1.5 %. */
static double read_off(lay_random *r, double hz) {
    return 50.0 * round(60.0 * hz * lay_random_between(r, 0.985, 1.015) / 50.0);
}

static void stated_speed(lay_sim_scene *scene, const lay_sim_run *run, lay_text *out) {
    double low, mean, high;
    lay_sim_profile_range(&run->profile, &low, &mean, &high);
    if (run->motion == LAY_SIM_STEADY)
        lay_text_add(out, "%.0f", read_off(&scene->random, mean));
    else {
        double from = read_off(&scene->random, low);
        lay_text_add(out, "%.0f-%.0f", from, read_off(&scene->random, high));
    }
}

/* Columns that only some tables have. */
typedef struct columns {
    bool tach, log, road, calibrated;
} columns;

static columns columns_of(const lay_sim_scene *scene, const lay_sim_tach *tach) {
    columns c = {.tach = tach->body >= 0};
    for (size_t i = 0; i < scene->run_count && !c.tach; i++) {
        c.log = c.log || scene->runs[i].given.kind == LAY_GIVEN_LOG;
        c.road = c.road || scene->runs[i].given.kind == LAY_GIVEN_ROAD;
    }
    return c;
}

void lay_sim_unit_text(const lay_sim_scene *scene, lay_text *out) {
    static const char axle[] = "[axle]\n";
    bool wanted = columns_of(scene, &(lay_sim_tach){.body = -1}).road && !(scene->unit->axle.rolling_m > 0);
    lay_text plain = {0};
    lay_unit_write(scene->unit, &plain);
    const char *section = plain.text && wanted ? strstr(plain.text, axle) : NULL;
    if (section) {
        const char *rest = section + strlen(axle);
        lay_sim_tyre tyre = lay_sim_tyre_draw(scene);
        lay_text_add(out, "%.*s", (int)(rest - plain.text), plain.text);
        lay_text_add(out, "tyre = %d/%d R%d\n%s", tyre.width_mm, tyre.aspect, tyre.rim_inch, rest);
    } else {
        lay_text_add(out, "%s", plain.text ? plain.text : "");
    }
    out->failed = out->failed || plain.failed;
    lay_text_free(&plain);
}

static void speed_cells(lay_sim_scene *scene, const lay_sim_run *run, const columns *c, lay_text *out) {
    const lay_sim_given *given = &run->given;
    if (given->kind == LAY_GIVEN_STATED)
        stated_speed(scene, run, out);
    else
        lay_text_add(out, "%s", given->rpm);
    if (c->log) lay_text_add(out, ",%s", given->log_file);
    if (c->road) lay_text_add(out, ",%s", given->road_speed);
}

static void head(const columns *c, lay_text *out) {
    lay_text_add(out, "file,gear,load,rpm,%s%s%ssensor%s\n", c->log ? "rpm_log," : "", c->road ? "road_speed," : "",
                 c->tach ? "tach_channel,pulses_per_rev,tach_on," : "", c->calibrated ? ",full_scale,unit" : "");
}

void lay_sim_table_write(lay_sim_scene *scene, const lay_sim_tach *tach, lay_text *out) {
    bool accel = scene->traits->sensor == LAY_SENSOR_ACCEL;
    lay_random mounting = lay_sim_stream(&scene->options, LAY_SIM_STREAM_CALIBRATION);
    bool calibrated = accel && lay_random_unit(&mounting) < 0.4;
    double full_scale = lay_random_unit(&mounting) < 0.5 ? 490.3 : 98.1;
    columns c = columns_of(scene, tach);
    c.calibrated = calibrated;
    head(&c, out);
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_sim_run *run = &scene->runs[i];
        cell(out, run->file);
        lay_text_add(out, ",");
        if (!scene->options.hide_gear) cell(out, scene->unit->gears[run->gear].name);
        lay_text_add(out, ",%s,", lay_load_name(run->load));
        speed_cells(scene, run, &c, out);
        if (c.tach) {
            lay_text_add(out, ",2,%g,", tach->per_turn);
            if (tach->body != scene->unit->reference) cell(out, scene->unit->bodies[tach->body].name);
        }
        lay_text_add(out, ",%s", accel ? "accel" : "mic");
        if (calibrated) lay_text_add(out, ",%g,m/s2", full_scale * scene->turned_down);
        lay_text_add(out, "\n");
    }
}
