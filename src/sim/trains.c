#include "trains.h"

#include <math.h>

typedef struct trains {
    const lay_sim_scene *scene;
    const lay_sim_run *run;
    lay_sim_impacts *items;
    size_t count;
    double rms; /* of the run's floor */
} trains;

/* Fixed per job and source, so that a source keeps its ring and its sizes from run to run. */
static lay_random source_random(const trains *t, uint64_t source) {
    return lay_sim_stream(&t->scene->options, LAY_SIM_STREAM_IMPACTS + source);
}

static lay_sim_impacts *add(trains *t, lay_random *random, double ring_low_hz, double ring_high_hz, double q_low,
                            double q_high) {
    if (t->count == LAY_SIM_TRAINS_MAX) return NULL;
    lay_sim_impacts *item = &t->items[t->count++];
    double top = fmin(ring_high_hz, 0.38 * t->scene->rate);
    double hz = ring_low_hz * pow(fmax(top / ring_low_hz, 1.0), lay_random_unit(random));
    *item = (lay_sim_impacts){.flank = {1, 1}, .echo_left = -1};
    item->ring = lay_sim_ring(t->scene->rate, hz, lay_random_between(random, q_low, q_high));
    lay_random day = lay_sim_stream(&t->scene->options, LAY_SIM_STREAM_NOISE + (uint64_t)(t->run - t->scene->runs));
    lay_random_seed(&item->random, lay_random_bits(random) ^ lay_random_bits(&day));
    item->next = lay_random_unit(&item->random);
    return item;
}

static void chip(trains *t, const lay_fault *f, lay_random *random) {
    const lay_expected *mesh = lay_sim_run_part(t->run, LAY_PART_MESH, f->index);
    if (!mesh || !mesh->turning || !mesh->loaded) return;
    lay_sim_impacts *item = add(t, random, 2000, 10000, 8, 25);
    if (!item) return;
    item->order = mesh->wheel_order[f->wheel];
    item->peak = t->rms * lay_sim_amplitude(f->strength_db);
    item->scatter = 0.15;
    item->flank[0] = f->drive ? 1.0 : 0.2;
    item->flank[1] = f->coast ? 1.0 : 0.2;
}

/* Defect orders with the rings' real speeds; the mean slips by up to 1.5 %, each interval scatters by 1..2 %. The size
 * follows the load zone: fixed for the outer ring, passed by the inner ring, by the cage for an element. */
static void bearing(trains *t, const lay_fault *f, lay_random *random) {
    const lay_expected *e = lay_sim_run_part(t->run, LAY_PART_BEARING, f->index);
    if (!e || !e->turning) return;
    lay_sim_impacts *item = add(t, random, 2000, 10000, 8, 25);
    if (!item) return;
    double slip = 1.0 + lay_random_between(random, -0.015, 0.005);
    item->jitter = lay_random_between(random, 0.01, 0.02);
    item->scatter = 0.2;
    item->peak = t->rms * lay_sim_amplitude(f->strength_db) * (t->run->load == LAY_LOAD_NONE ? 0.5 : 1.0);
    switch (f->kind) {
    case LAY_FAULT_INNER:
        item->order = e->bpfi, item->zone_order = e->ring_order[0], item->zone_depth = 0.8;
        break;
    case LAY_FAULT_ELEMENT:
        item->order = e->bsf2, item->zone_order = e->ftf, item->zone_depth = 0.7;
        break;
    case LAY_FAULT_CAGE:
        item->order = e->ftf;
        break;
    default:
        item->order = e->bpfo, item->zone_depth = 0;
        break;
    }
    item->order *= slip;
}

static void faults(trains *t) {
    for (size_t i = 0; i < t->scene->fault_count; i++) {
        const lay_fault *f = &t->scene->faults[i];
        lay_random random = source_random(t, i);
        if (f->kind == LAY_FAULT_CHIP)
            chip(t, f, &random);
        else if (f->kind >= LAY_FAULT_OUTER && f->kind <= LAY_FAULT_CAGE)
            bearing(t, f, &random);
    }
}

/* Injectors strike once per cylinder and cycle, valves twice; each cylinder its own size, all locked to the crank. */
static void engine_ticks(trains *t) {
    const lay_expected *engine = lay_sim_run_part(t->run, LAY_PART_ENGINE, 0);
    if (!engine) return;
    for (uint64_t kind = 0; kind < 2; kind++) {
        lay_random random = source_random(t, 10 + kind);
        double loud = lay_random_between(&random, 0.3, 1.8);
        lay_sim_impacts *item = add(t, &random, 1200, 6000, 4, 15);
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

/* Free-running pairs rattle, most in neutral: now and then a tooth strikes at its passage. */
static void rattle(trains *t) {
    bool neutral = t->run->load == LAY_LOAD_NONE;
    for (size_t m = 0; m < t->scene->unit->mesh_count; m++) {
        const lay_expected *mesh = lay_sim_run_part(t->run, LAY_PART_MESH, (int)m);
        lay_random random = source_random(t, 100 + m);
        double loud = lay_random_between(&random, 0.1, 1.2);
        if (!mesh || !mesh->turning || (mesh->loaded && !neutral) || loud < (neutral ? 0.5 : 0.9)) continue;
        lay_sim_impacts *item = add(t, &random, 1000, 5000, 4, 12);
        if (!item) return;
        item->timing = LAY_SIM_RATTLE;
        item->order = mesh->order;
        item->chance = lay_random_between(&random, 0.05, 0.3);
        item->scatter = 0.5;
        item->peak = loud * t->rms;
    }
}

/* Stones against the floor pan; joints of the road under both axles. */
static void road(trains *t) {
    if (t->run->output_order <= 0) return;
    lay_random random = source_random(t, 20);
    lay_sim_impacts *stones = add(t, &random, 1000, 5000, 3, 8);
    if (!stones) return;
    stones->timing = LAY_SIM_RANDOM;
    stones->rate = lay_random_between(&random, 0.1, 1.0);
    stones->peak = t->rms * lay_random_between(&random, 4, 12);
    lay_sim_impacts *joints = add(t, &random, 30, 80, 2, 4);
    if (!joints) return;
    joints->timing = LAY_SIM_RANDOM;
    joints->rate = lay_random_between(&random, 0.2, 0.8);
    joints->peak = t->rms * lay_random_between(&random, 2, 6);
    joints->echo_s = lay_random_between(&random, 0.1, 0.25);
}

size_t lay_sim_run_trains(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_impacts *out) {
    trains t = {.scene = scene, .run = run, .items = out, .rms = lay_sim_noise_rms(scene, run)};
    faults(&t);
    if (scene->traits->vehicle) {
        engine_ticks(&t);
        rattle(&t);
        road(&t);
    } else if (scene->traits->inverter && run->load == LAY_LOAD_NONE) {
        rattle(&t); /* the clean stand has none */
    }
    return t.count;
}
