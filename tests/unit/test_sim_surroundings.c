/* What strikes beside the unit is there whether the unit is whole or not, and never poses as one of its parts. */
#include <layshaft/sim.h>

#include "sim/trains.h"
#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SEEDS 24

static lay_sim_scene *scene_for(uint64_t seed, lay_world world, lay_unit **unit) {
    lay_error err = {0};
    lay_fault fault = {.kind = LAY_FAULT_OUTER, .index = 0, .strength_db = 9};
    lay_sim_options options = {.seed = seed, .world = world, .rate = 32000, .faults = &fault, .fault_count = 1};
    lay_sim_scene *scene = lay_calloc(1, sizeof *scene);
    if (lay_sim_unit(seed, unit, &err) != LAY_OK || lay_sim_scene_build(scene, *unit, &options, &err) != LAY_OK)
        fail_msg("seed %d: %s", (int)seed, err.message);
    return scene;
}

/* Trains of a run with and without the fault; what the fault adds comes first. */
static size_t compare_run(lay_sim_scene *scene, const lay_sim_run *run) {
    lay_sim_impacts with[LAY_SIM_TRAINS_MAX], without[LAY_SIM_TRAINS_MAX];
    memset(with, 0, sizeof with);
    memset(without, 0, sizeof without);
    size_t faults = scene->fault_count, count = lay_sim_run_trains(scene, run, NULL, with);
    scene->fault_count = 0;
    size_t healthy = lay_sim_run_trains(scene, run, NULL, without);
    scene->fault_count = faults;
    assert_int_equal(count, healthy + faults);
    for (size_t i = 0; i < healthy; i++) {
        const lay_sim_impacts *a = &with[i + faults], *b = &without[i];
        assert_true(a->order == b->order && a->rate == b->rate && a->peak == b->peak && a->next == b->next);
        assert_memory_equal(&a->random, &b->random, sizeof a->random);
    }
    return healthy;
}

static void healthy_and_faulty_units_share_them(void **state) {
    (void)state;
    size_t seen[LAY_WORLD_COUNT] = {0};
    for (uint64_t seed = 1; seed <= SEEDS; seed++)
        for (int w = 0; w < LAY_WORLD_COUNT; w++) {
            lay_unit *unit = NULL;
            lay_sim_scene *scene = scene_for(seed, (lay_world)w, &unit);
            for (size_t r = 0; r < scene->run_count; r++) seen[w] += compare_run(scene, &scene->runs[r]);
            lay_sim_scene_free(scene);
            free(scene);
            lay_unit_free(unit);
        }
    assert_int_equal(seen[LAY_WORLD_QUIET], 0);
    assert_true(seen[LAY_WORLD_STAND] > SEEDS && seen[LAY_WORLD_ROAD] > 5 * SEEDS && seen[LAY_WORLD_CABIN] > 5 * SEEDS);
}

static double nearest_harmonic(double order, double line) {
    double h = fmax(1, round(line / order));
    return h <= 4 ? fabs(h * order - line) / line : 1;
}

/* On a stand the slow trains locked to the motor are the belt's joint: it keeps off cages and wheels. */
static void belts_keep_off_the_units_lines(void **state) {
    (void)state;
    int belts = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        lay_unit *unit = NULL;
        lay_sim_scene *scene = scene_for(seed, LAY_WORLD_STAND, &unit);
        const lay_sim_run *run = &scene->runs[scene->run_count - 1];
        lay_sim_impacts trains[LAY_SIM_TRAINS_MAX];
        size_t count = lay_sim_run_trains(scene, run, NULL, trains);
        for (size_t i = scene->fault_count; i < count; i++) {
            if (!trains[i].crank || trains[i].order >= 1) continue;
            belts++;
            for (size_t k = 0; k < run->expected_count; k++) {
                const lay_expected *e = &run->expected[k];
                const double lines[] = {e->ftf, e->bpfo, e->bpfi, e->bsf2, e->wheel_order[0], e->wheel_order[1]};
                for (int j = 0; j < 6; j++)
                    if (lines[j] > 0) assert_true(nearest_harmonic(trains[i].order, lines[j]) > 0.025);
            }
        }
        lay_sim_scene_free(scene);
        free(scene);
        lay_unit_free(unit);
    }
    assert_true(belts > 3 && belts < SEEDS);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(healthy_and_faulty_units_share_them),
        cmocka_unit_test(belts_keep_off_the_units_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
