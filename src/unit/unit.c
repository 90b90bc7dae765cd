/* The unit as a value: freeing it, finding names in it. */
#include <layshaft/unit.h>

#include "ini.h"

#include <stdlib.h>
#include <string.h>

void lay_unit_free(lay_unit *unit) {
    if (!unit) return;
    for (size_t i = 0; i < unit->body_count; i++) free(unit->bodies[i].name);
    for (size_t i = 0; i < unit->mesh_count; i++) free(unit->meshes[i].name);
    for (size_t i = 0; i < unit->bearing_count; i++) free(unit->bearings[i].name);
    for (size_t i = 0; i < unit->gear_count; i++) {
        free(unit->gears[i].name);
        free(unit->gears[i].locks);
    }
    for (size_t i = 0; i < unit->rotor_count; i++) {
        free(unit->rotors[i].name);
        free(unit->rotors[i].orders);
    }
    free(unit->bodies);
    free(unit->meshes);
    free(unit->gears);
    free(unit->bearings);
    free(unit->rotors);
    free(unit->name);
    free(unit->path);
    free(unit);
}

static struct unit_slice slice_of(const char *name) {
    return (struct unit_slice){.at = name, .length = strlen(name)};
}

int lay_unit_body(const lay_unit *unit, const char *name) {
    for (size_t i = 0; name && i < unit->body_count; i++)
        if (unit_slice_is(slice_of(name), unit->bodies[i].name)) return (int)i;
    return -1;
}

int lay_unit_gear(const lay_unit *unit, const char *name) {
    for (size_t i = 0; name && i < unit->gear_count; i++)
        if (unit_slice_is(slice_of(name), unit->gears[i].name)) return (int)i;
    return -1;
}
