#include "voice.h"

#include <math.h>

static bool mesh_line(const lay_sim_voice *v, const lay_sim_run *run, lay_sim_line *out) {
    const lay_expected *mesh = lay_sim_run_part(run, LAY_PART_MESH, v->index);
    if (!mesh || !mesh->turning) return false;
    out->loaded = mesh->loaded;
    out->order = v->carrier == LAY_SIM_WHEEL ? v->multiple * mesh->wheel_order[v->wheel] : v->multiple * mesh->order;
    out->order += v->sideband * mesh->wheel_order[v->wheel];
    for (int w = 0; w < 2; w++) out->mod_order[w] = mesh->wheel_order[w];
    return out->order > 0;
}

static bool outside_line(const lay_sim_voice *v, const lay_sim_run *run, lay_part_type type, lay_sim_line *out) {
    const lay_expected *part = lay_sim_run_part(run, type, type == LAY_PART_ROTOR ? v->index : 0);
    if (!part) return false;
    double base = type == LAY_PART_ENGINE ? part->cycle_order : part->order;
    out->order = v->multiple * base;
    for (int w = 0; w < 2; w++) out->mod_order[w] = type == LAY_PART_AXLE ? part->wheel_order[w] : 0;
    return out->order > 0;
}

bool lay_sim_voice_line(const lay_sim_voice *v, const lay_sim_run *run, lay_sim_line *out) {
    *out = (lay_sim_line){.loaded = true};
    switch (v->carrier) {
    case LAY_SIM_MESH:
    case LAY_SIM_WHEEL:
        return mesh_line(v, run, out);
    case LAY_SIM_AXLE:
        return outside_line(v, run, LAY_PART_AXLE, out);
    case LAY_SIM_ROTOR:
        return outside_line(v, run, LAY_PART_ROTOR, out);
    case LAY_SIM_ENGINE:
        out->crank = true;
        return outside_line(v, run, LAY_PART_ENGINE, out);
    case LAY_SIM_REFERENCE:
        out->crank = true;
        out->order = v->multiple;
        return true;
    case LAY_SIM_OUTPUT:
        out->order = v->multiple * run->output_order;
        return out->order > 0;
    case LAY_SIM_FIXED:
        out->hz = v->multiple;
        return true;
    }
    return false;
}

double lay_sim_voice_gain(const lay_sim_voice *v, const lay_sim_line *line, double load, double hz) {
    const double typical_hz = 2000.0 / 60.0, blend = 0.15; /* load over which the contact changes its flank */
    double speed = v->speed_power == 0 ? 1.0 : pow(fmax(hz, 1.0) / typical_hz, v->speed_power);
    if (!line->loaded) return v->idle * speed;
    double u = 0.5 + 0.5 * fmin(1.0, fmax(-1.0, load / blend)); /* 0 coast, 1 drive */
    double flank = v->flank[1] + (v->flank[0] - v->flank[1]) * u;
    return flank * (v->floor_gain + (1.0 - v->floor_gain) * fabs(load)) * speed;
}
