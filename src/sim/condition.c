#include "condition.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

/* What each condition adds to a mesh is common practice of the trade and of texts on gear vibration (Randall,
 * Vibration-based Condition Monitoring, from memory); how much, is drawn here. */

static const char *const names[LAY_CONDITION_COUNT] = {"plain", "worn", "askew", "loose", "mismatch", "cracked"};

const char *lay_condition_name(lay_condition_kind condition) {
    return condition < LAY_CONDITION_COUNT ? names[condition] : "plain";
}

bool lay_condition_parse(const char *text, lay_condition_kind *out) {
    for (int i = 0; i < LAY_CONDITION_COUNT; i++)
        if (strcasecmp(text, names[i]) == 0) {
            *out = (lay_condition_kind)i;
            return true;
        }
    return false;
}

static double phase(lay_random *r) {
    return lay_random_between(r, 0, 2.0 * LAY_PI);
}

/* A line at `multiple` times the mesh and `sideband` turns of the wheel beside it; it counts for the strength when
 * `measured`. */
static lay_status line(lay_sim_scene *scene, const lay_sim_voice *mesh, double multiple, int sideband, double db,
                       bool measured, lay_error *err) {
    lay_sim_voice v = *mesh;
    v.multiple = multiple;
    v.sideband = sideband;
    v.amplitude = lay_sim_amplitude(db);
    v.phase = phase(&scene->random);
    v.measured = measured;
    return lay_sim_scene_add(scene, &v, err);
}

static lay_status harmonics(lay_sim_scene *scene, const lay_sim_voice *mesh, const double *db, int count,
                            lay_error *err) {
    lay_status status = LAY_OK;
    for (int h = 1; h <= count && status == LAY_OK; h++) status = line(scene, mesh, h, 0, db[h - 1], true, err);
    return status;
}

/* Wear deepens the profile between tip and root, away from the pitch line, twice per tooth: the second multiple rises
 * first. */
static lay_status worn(lay_sim_scene *scene, const lay_sim_voice *mesh, lay_error *err) {
    lay_random *r = &scene->random;
    double second = lay_random_between(r, 6, 14), roll = lay_random_between(r, 1, 5);
    const double db[5] = {-second, 0, -roll, -2 * roll, -3 * roll};
    return harmonics(scene, mesh, db, 5, err);
}

static lay_status askew(lay_sim_scene *scene, const lay_sim_voice *mesh, lay_error *err) {
    lay_random *r = &scene->random;
    const double db[3] = {0, lay_random_between(r, -4, 3), lay_random_between(r, -14, -8)};
    double twice = lay_random_between(r, -8, -3), once = twice - lay_random_between(r, 6, 12);
    lay_status status = harmonics(scene, mesh, db, 3, err);
    for (int h = 1; h <= 2; h++)
        for (int s = -2; s <= 2 && status == LAY_OK; s++)
            if (s) status = line(scene, mesh, h, s, db[h - 1] + (s * s == 4 ? twice : once), false, err);
    return status;
}

static lay_status loose(lay_sim_scene *scene, const lay_sim_voice *mesh, lay_error *err) {
    lay_random *r = &scene->random;
    const double db[3] = {0, lay_random_between(r, -8, -2), lay_random_between(r, -14, -6)};
    double first = lay_random_between(r, -10, -5), fall = lay_random_between(r, 0.5, 1.8);
    lay_status status = harmonics(scene, mesh, db, 3, err);
    for (int h = 1; h <= 2; h++)
        for (int s = -9; s <= 9 && status == LAY_OK; s++)
            if (s)
                status = line(scene, mesh, h, s, db[h - 1] + first - fall * (abs(s) - 1) + lay_random_between(r, -3, 3),
                              false, err);
    lay_sim_voice half = *mesh;
    half.carrier = LAY_SIM_WHEEL;
    for (int k = 1; k <= 7 && status == LAY_OK; k += 2)
        status = line(scene, &half, 0.5 * k, 0, first - lay_random_between(r, 2, 8), false, err);
    return status;
}

/* The same pairing comes back every lcm(z1, z2) teeth. With a common factor g the wear pattern has period g teeth:
 * lines at multiples of mesh / g; else the lines lie so close beside the mesh that they are a slow beat. */
static lay_status mismatch(lay_sim_scene *scene, const lay_sim_voice *mesh, lay_error *err) {
    lay_random *r = &scene->random;
    const lay_mesh *m = &scene->unit->meshes[mesh->index];
    int g = lay_sim_run_part(&scene->runs[0], LAY_PART_MESH, mesh->index)->assembly_phases;
    const double db[3] = {0, lay_random_between(r, -10, -3), lay_random_between(r, -16, -8)};
    double level = lay_random_between(r, -12, -6);
    lay_status status = harmonics(scene, mesh, db, 3, err);
    double step = g > 1 ? 1.0 / g : (double)g / ((double)m->driver.teeth * m->driven.teeth);
    for (int k = 1; k <= (g > 1 ? 2 * g : 3) && status == LAY_OK; k++) {
        if (g > 1 && k % g == 0) continue;
        double level_db = level - lay_random_between(r, 0, 6);
        status = line(scene, mesh, g > 1 ? k * step : 1 + k * step, 0, level_db, false, err);
        if (g == 1 && status == LAY_OK) status = line(scene, mesh, 1 - k * step, 0, level_db, false, err);
    }
    return status;
}

/* A pulse of phase and amplitude once per turn, as long as one tooth carries: its Fourier series of raised-cosine form
 * around the mesh. Upper and lower sidebands differ as both kinds of modulation add on one side. */
static lay_status cracked(lay_sim_scene *scene, const lay_sim_voice *mesh, lay_error *err) {
    lay_random *r = &scene->random;
    const lay_mesh *m = &scene->unit->meshes[mesh->index];
    int teeth = mesh->wheel ? m->driven.teeth : m->driver.teeth, most = teeth - 2;
    double lag = lay_random_between(r, 0.6, 1.6), dip = lay_random_between(r, 0.2, 0.5), at = phase(r),
           start = phase(r);
    const double db[3] = {0, lay_random_between(r, -10, -3), lay_random_between(r, -16, -8)};
    lay_status status = LAY_OK;
    for (int h = 1; h <= 3 && status == LAY_OK; h++) {
        lay_sim_voice v = *mesh;
        v.multiple = h;
        v.phase = h * start;
        v.amplitude = lay_sim_amplitude(db[h - 1]);
        v.measured = true;
        status = lay_sim_scene_add(scene, &v, err);
        for (int s = -most; h == 1 && s <= most && status == LAY_OK; s++) {
            if (s == 0) continue;
            double x = (double)abs(s) / teeth; /* raised cosine of 1.6 teeth, Fourier coefficient at s per turn */
            double shape = 1.6 / teeth * 0.5 * (x == 0 ? 1 : sin(LAY_PI * 1.6 * x) / (LAY_PI * 1.6 * x)) /
                           (1 - pow(1.6 * x, 2) + 1e-9);
            double re = -dip * shape, im = -lag * shape; /* (1 - dip p) e^{-i lag p} about 1 - (dip + i lag) p */
            v.sideband = s;
            v.measured = false;
            v.amplitude = lay_sim_amplitude(db[0]) * hypot(re, im);
            v.phase = start + atan2(im, re) + s * at;
            status = lay_sim_scene_add(scene, &v, err);
        }
    }
    return status;
}

lay_status lay_sim_condition_voices(lay_sim_scene *scene, const lay_fault *fault, const lay_sim_voice *mesh,
                                    lay_error *err) {
    switch (fault->condition) {
    case LAY_CONDITION_WORN:
        return worn(scene, mesh, err);
    case LAY_CONDITION_ASKEW:
        return askew(scene, mesh, err);
    case LAY_CONDITION_LOOSE:
        return loose(scene, mesh, err);
    case LAY_CONDITION_MISMATCH:
        return mismatch(scene, mesh, err);
    default:
        return cracked(scene, mesh, err);
    }
}
