/* What strikes beside a unit, whether that is whole or not. All magnitudes are plausible ones chosen by us (common
 * practice, no source), told relative to the rms of the whole noise floor. */
#include "trains.h"

#include <math.h>

/* ---- the engine ---- */

/* Injectors strike once per cylinder and cycle, valves twice; each cylinder its own size, all locked to the crank. */
static void engine_ticks(lay_sim_trains *t) {
    static const lay_sim_ring_range ring = {1200, 6000, 4, 15};
    const lay_expected *engine = lay_sim_run_part(t->run, LAY_PART_ENGINE, 0);
    if (!engine) return;
    for (uint64_t kind = 0; kind < 2; kind++) {
        lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_TICKS + kind);
        double loud = lay_random_between(&random, 0.3, 1.8);
        lay_sim_impacts *item = lay_sim_trains_add(t, &random, &ring);
        if (!item) return;
        int strikes = t->scene->unit->engine.cylinders * (kind == 0 ? 1 : 2);
        item->order = engine->cycle_order * strikes;
        item->crank = true;
        item->jitter = 0.002;
        item->scatter = 0.2;
        item->peak = loud * t->rms;
        item->pattern_count = strikes < LAY_SIM_PATTERN_MAX ? strikes : LAY_SIM_PATTERN_MAX;
        for (int i = 0; i < item->pattern_count; i++) item->pattern[i] = lay_random_between(&random, 0.6, 1.2);
    }
}

/* ---- the vehicle ---- */

/* Free-running pairs rattle, most in neutral: now and then a tooth strikes at its passage. */
static void rattle(lay_sim_trains *t) {
    static const lay_sim_ring_range ring = {1000, 5000, 4, 12};
    bool neutral = t->run->load == LAY_LOAD_NONE;
    for (size_t m = 0; m < t->scene->unit->mesh_count; m++) {
        const lay_expected *mesh = lay_sim_run_part(t->run, LAY_PART_MESH, (int)m);
        lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_RATTLE + m);
        double loud = lay_random_between(&random, 0.1, 1.2);
        if (!mesh || !mesh->turning || (mesh->loaded && !neutral) || loud < (neutral ? 0.5 : 0.9)) continue;
        lay_sim_impacts *item = lay_sim_trains_add(t, &random, &ring);
        if (!item) return;
        item->timing = LAY_SIM_RATTLE;
        item->order = mesh->order;
        item->chance = lay_random_between(&random, 0.05, 0.3);
        item->scatter = 0.5;
        item->peak = loud * t->rms;
    }
}

/* Stones against the floor pan; joints of the road under both axles. */
static void road(lay_sim_trains *t) {
    static const lay_sim_ring_range pan = {1000, 5000, 3, 8}, wheels = {30, 80, 2, 4};
    if (t->run->output_order <= 0) return;
    lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_ROAD);
    lay_sim_impacts *stones = lay_sim_trains_add(t, &random, &pan);
    if (!stones) return;
    stones->timing = LAY_SIM_RANDOM;
    stones->rate = lay_random_between(&random, 0.1, 1.0);
    stones->peak = t->rms * lay_random_between(&random, 4, 12);
    lay_sim_impacts *joints = lay_sim_trains_add(t, &random, &wheels);
    if (!joints) return;
    joints->timing = LAY_SIM_RANDOM;
    joints->rate = lay_random_between(&random, 0.2, 0.8);
    joints->peak = t->rms * lay_random_between(&random, 2, 6);
    joints->echo_s = lay_random_between(&random, 0.1, 0.25);
    joints->echoes = 1;
}

/* Somebody in three knocks against the dashboard near the microphone, a few times in a row. */
static void knocks(lay_sim_trains *t) {
    static const lay_sim_ring_range ring = {250, 1500, 2, 6};
    lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_KNOCKS);
    if (t->scene->traits->sensor != LAY_SENSOR_MIC || lay_random_unit(&random) > 0.33) return;
    lay_sim_impacts *item = lay_sim_trains_add(t, &random, &ring);
    if (!item) return;
    item->timing = LAY_SIM_RANDOM;
    item->rate = lay_random_between(&random, 0.03, 0.12);
    item->peak = t->rms * lay_random_between(&random, 3, 9);
    item->echo_s = lay_random_between(&random, 0.12, 0.25);
    item->echoes = lay_random_int(&random, 1, 5);
}

/* ---- the test stand ---- */

/* The phases of the drive's motor take over from one another six times per pole pair and turn: a short hiss each. */
static void commutation(lay_sim_trains *t) {
    static const lay_sim_ring_range ring = {2500, 8000, 2, 5};
    lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_STAND);
    if (lay_random_unit(&random) > 0.6) return;
    lay_sim_impacts *item = lay_sim_trains_add(t, &random, &ring);
    if (!item) return;
    item->crank = true;
    item->order = 6.0 * lay_random_int(&random, 2, 4);
    item->jitter = 0.002;
    item->scatter = 0.3;
    item->peak = t->rms * lay_random_between(&random, 0.2, 0.9);
    item->pattern_count = 6;
    for (int i = 0; i < item->pattern_count; i++) item->pattern[i] = lay_random_between(&random, 0.7, 1.1);
}

static bool near_multiple(double order, double line) {
    for (int h = 1; h <= 4 && line > 0; h++)
        if (fabs(h * order - line) < 0.03 * line) return true;
    return false;
}

/* True when the belt's ticks would fall on a line of the unit in some run: nothing could tell them apart then. */
static bool hidden(const lay_sim_scene *scene, double order) {
    for (size_t r = 0; r < scene->run_count; r++)
        for (size_t i = 0; i < scene->runs[r].expected_count; i++) {
            const lay_expected *e = &scene->runs[r].expected[i];
            const double lines[] = {e->bpfo, e->bpfi, e->bsf2, e->ftf, e->wheel_order[0], e->wheel_order[1]};
            for (size_t k = 0; k < sizeof lines / sizeof *lines; k++)
                if (near_multiple(order, lines[k])) return true;
        }
    return false;
}

/* The joint of the flat belt between motor and unit passes a pulley once per turn of the belt. */
static void belt(lay_sim_trains *t) {
    static const lay_sim_ring_range ring = {800, 4000, 3, 10};
    lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_STAND + 1);
    if (lay_random_unit(&random) > 0.4) return;
    double order = lay_random_between(&random, 0.18, 0.48);
    for (int tries = 0; tries < 100 && hidden(t->scene, order); tries++)
        order = lay_random_between(&random, 0.18, 0.48);
    if (hidden(t->scene, order)) return;
    lay_sim_impacts *item = lay_sim_trains_add(t, &random, &ring);
    if (!item) return;
    double creep = lay_random_between(&item->random, -0.001, 0.001);
    item->crank = true;
    item->order = order * (1.0 + creep);
    item->next /= item->order;
    item->jitter = 0.001;
    item->scatter = 0.15;
    item->peak = t->rms * lay_random_between(&random, 0.5, 2.0);
}

/* A clamp that is not tight clatters when it likes. */
static void clamp(lay_sim_trains *t) {
    static const lay_sim_ring_range ring = {800, 5000, 5, 15};
    lay_random random = lay_sim_source(t->scene, LAY_SIM_SOURCE_STAND + 2);
    if (lay_random_unit(&random) > 0.4) return;
    lay_sim_impacts *item = lay_sim_trains_add(t, &random, &ring);
    if (!item) return;
    item->timing = LAY_SIM_RANDOM;
    item->rate = lay_random_between(&random, 0.5, 6.0);
    item->peak = t->rms * lay_random_between(&random, 1.0, 4.0);
}

void lay_sim_trains_surroundings(lay_sim_trains *t) {
    if (t->scene->traits->vehicle) {
        engine_ticks(t);
        rattle(t);
        road(t);
        knocks(t);
    } else if (t->scene->traits->inverter) { /* the quiet stand has none of this */
        if (t->run->load == LAY_LOAD_NONE) rattle(t);
        commutation(t);
        belt(t);
        clamp(t);
    }
}
