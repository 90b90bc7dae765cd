/* Worlds and kinds of fault: names and traits. */
#include "world.h"

#include <math.h>
#include <string.h>
#include <strings.h>

static const lay_sim_traits worlds[] = {
    [LAY_WORLD_QUIET] = {.name = "quiet",
                         .sensor = LAY_SENSOR_ACCEL,
                         .engine_db = {0, 0},
                         .shelf_db = {0, 6},
                         .structure_share = 0.2,
                         .level_db = {-50, -36}},
    [LAY_WORLD_STAND] = {.name = "stand",
                         .sensor = LAY_SENSOR_ACCEL,
                         .mains = true,
                         .inverter = true,
                         .shelf_db = {0, 10},
                         .structure_share = 0.5,
                         .level_db = {-46, -30}},
    [LAY_WORLD_ROAD] = {.name = "road",
                        .sensor = LAY_SENSOR_ACCEL,
                        .vehicle = true,
                        .engine_db = {14, 26},
                        .shelf_db = {8, 18},
                        .structure_share = 0.4,
                        .level_db = {-40, -26},
                        .load_changes_in_ten = 3},
    [LAY_WORLD_CABIN] = {.name = "cabin",
                         .sensor = LAY_SENSOR_MIC,
                         .vehicle = true,
                         .gain_riding = true,
                         .wind = 0.8,
                         .clip_chance = 0.2,
                         .engine_db = {22, 35},
                         .shelf_db = {14, 26},
                         .structure_share = 0.25,
                         .level_db = {-40, -26},
                         .load_changes_in_ten = 4},
};
_Static_assert(sizeof worlds / sizeof worlds[0] == LAY_WORLD_COUNT, "one row per world");

static const char *const fault_names[] = {
    [LAY_FAULT_NONE] = "none",   [LAY_FAULT_MESH] = "mesh",   [LAY_FAULT_ECCENTRIC] = "eccentric",
    [LAY_FAULT_CHIP] = "chip",   [LAY_FAULT_GHOST] = "ghost", [LAY_FAULT_OUTER] = "outer",
    [LAY_FAULT_INNER] = "inner", [LAY_FAULT_CAGE] = "cage",   [LAY_FAULT_ELEMENT] = "element",
    [LAY_FAULT_AXLE] = "axle",   [LAY_FAULT_ROTOR] = "rotor", [LAY_FAULT_UNKNOWN_TONE] = "unknown",
};
_Static_assert(sizeof fault_names / sizeof fault_names[0] == LAY_FAULT_COUNT, "one name per kind");

const lay_sim_traits *lay_sim_world_traits(lay_world world) {
    return &worlds[world];
}

const char *lay_world_name(lay_world world) {
    return (unsigned)world < LAY_WORLD_COUNT ? worlds[world].name : "";
}

bool lay_world_parse(const char *text, lay_world *out) {
    for (int i = 0; i < LAY_WORLD_COUNT; i++)
        if (strcasecmp(text, worlds[i].name) == 0) {
            *out = (lay_world)i;
            return true;
        }
    return false;
}

const char *lay_fault_kind_name(lay_fault_kind kind) {
    return (unsigned)kind < LAY_FAULT_COUNT ? fault_names[kind] : "";
}

bool lay_fault_kind_parse(const char *text, lay_fault_kind *out) {
    for (int i = 0; i < LAY_FAULT_COUNT; i++)
        if (strcasecmp(text, fault_names[i]) == 0) {
            *out = (lay_fault_kind)i;
            return true;
        }
    return false;
}

double lay_sim_draw(lay_random *random, lay_sim_range range) {
    return lay_random_between(random, range.low, range.high);
}

double lay_sim_amplitude(double db) {
    return pow(10.0, db / 20.0);
}
