/* Random units are transmissions: every gear solves, ratios fall, tooth counts are those of practice. */
#include <layshaft/sim.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SEEDS 300

static lay_unit *unit_for(uint64_t seed) {
    lay_unit *unit = NULL;
    lay_error err = {0};
    if (lay_sim_unit(seed, &unit, &err) != LAY_OK) fail_msg("seed %d: %s", (int)seed, err.message);
    return unit;
}

static void check_gears(const lay_unit *unit, uint64_t seed) {
    double last = 1e9;
    for (size_t g = 0; g < unit->gear_count; g++) {
        lay_kinematics k = {0};
        lay_expected *parts = NULL;
        size_t count = 0;
        lay_error err = {0};
        if (lay_unit_solve(unit, (int)g, &k, &err) != LAY_OK) fail_msg("seed %d: %s", (int)seed, err.message);
        assert_int_equal(lay_unit_expect(unit, &k, &parts, &count, &err), LAY_OK);
        double ratio = fabs(lay_unit_ratio(unit, &k));
        const char *name = unit->gears[g].name;
        if (strcmp(name, "N") == 0)
            assert_close(ratio, 0, 1e-12, 0);
        else
            assert_true(ratio > 0.5 && ratio < 5.5);
        if (name[0] >= '1' && name[0] <= '9') {
            if (!(ratio < last)) fail_msg("seed %d: gear %s is not faster than the one before", (int)seed, name);
            last = ratio;
        }
        free(parts);
        lay_kinematics_free(&k);
    }
}

static void every_gear_solves(void **state) {
    (void)state;
    int epicyclic = 0, transaxles = 0, hunting = 0, meshes = 0, direct = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        lay_unit *unit = unit_for(seed);
        check_gears(unit, seed);
        transaxles += lay_unit_body(unit, "countershaft") < 0;
        for (size_t m = 0; m < unit->mesh_count; m++) {
            const lay_mesh *mesh = &unit->meshes[m];
            assert_true(mesh->driver.teeth >= 11 && mesh->driven.teeth >= 11 && mesh->driven.teeth <= 120);
            int a = mesh->driver.teeth, b = mesh->driven.teeth;
            while (b) {
                int rest = a % b;
                a = b;
                b = rest;
            }
            hunting += a == 1;
            meshes++;
            epicyclic += mesh->internal;
        }
        lay_kinematics k = {0};
        int four = lay_unit_gear(unit, "4");
        assert_int_equal(lay_unit_solve(unit, four, &k, NULL), LAY_OK);
        direct += fabs(lay_unit_ratio(unit, &k) - 1.0) < 1e-12;
        lay_kinematics_free(&k);
        assert_true(unit->engine.cylinders >= 3 && unit->engine.cylinders <= 8);
        assert_true(unit->axle.present && unit->bearing_count >= 2 && unit->rotor_count <= 3);
        lay_unit_free(unit);
    }
    assert_true(epicyclic > 10 && transaxles > 60 && direct > 60);
    assert_true(hunting > meshes / 2 && hunting < meshes); /* both kinds occur */
}

/* An assembled planet set: ring = sun + 2 planets, and three equal planets need (sun + ring) / 3 whole (assembly
 * condition of planetary trains: common practice, no source). */
static void planets_can_be_assembled(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        lay_unit *unit = unit_for(seed);
        int sun = 0, planet = 0, ring = 0;
        for (size_t m = 0; m < unit->mesh_count; m++) {
            if (strcmp(unit->meshes[m].name, "overdrive sun") == 0) sun = unit->meshes[m].driver.teeth;
            if (unit->meshes[m].internal) planet = unit->meshes[m].driver.teeth, ring = unit->meshes[m].driven.teeth;
        }
        assert_int_equal(ring, sun + 2 * planet);
        assert_int_equal((sun + ring) % 3, 0);
        lay_unit_free(unit);
    }
}

static void the_written_unit_reads_back(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        lay_unit *unit = unit_for(seed), *again = NULL;
        lay_text text = {0}, twice = {0};
        lay_error err = {0};
        lay_unit_write(unit, &text);
        if (lay_unit_parse(text.text, text.length, "written", &again, &err) != LAY_OK) fail_msg("%s", err.message);
        lay_unit_write(again, &twice);
        assert_string_equal(text.text, twice.text);
        lay_text_free(&text);
        lay_text_free(&twice);
        lay_unit_free(unit);
        lay_unit_free(again);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_gear_solves),
        cmocka_unit_test(planets_can_be_assembled),
        cmocka_unit_test(the_written_unit_reads_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
