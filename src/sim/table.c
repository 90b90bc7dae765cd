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

void lay_sim_table_write(lay_sim_scene *scene, const lay_sim_tach *tach, lay_text *out) {
    bool accel = scene->traits->sensor == LAY_SENSOR_ACCEL;
    lay_random mounting = lay_sim_stream(&scene->options, LAY_SIM_STREAM_CALIBRATION);
    bool calibrated = accel && lay_random_unit(&mounting) < 0.4;
    double full_scale = lay_random_unit(&mounting) < 0.5 ? 490.3 : 98.1;
    lay_text_add(out, "file,gear,load,rpm,%ssensor%s\n", tach->body >= 0 ? "tach_channel,pulses_per_rev,tach_on," : "",
                 calibrated ? ",full_scale,unit" : "");
    for (size_t i = 0; i < scene->run_count; i++) {
        const lay_sim_run *run = &scene->runs[i];
        cell(out, run->file);
        lay_text_add(out, ",");
        cell(out, scene->unit->gears[run->gear].name);
        lay_text_add(out, ",%s,", lay_load_name(run->load));
        stated_speed(scene, run, out);
        if (tach->body >= 0) {
            lay_text_add(out, ",2,%g,", tach->per_turn);
            if (tach->body != scene->unit->reference) cell(out, scene->unit->bodies[tach->body].name);
        }
        lay_text_add(out, ",%s", accel ? "accel" : "mic");
        if (calibrated) lay_text_add(out, ",%g,m/s2", full_scale);
        lay_text_add(out, "\n");
    }
}
