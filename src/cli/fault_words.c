#include "fault_words.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define NAMES_MAX 256

static bool of_mesh(lay_fault_kind k) {
    return k == LAY_FAULT_MESH || k == LAY_FAULT_ECCENTRIC || k == LAY_FAULT_CHIP || k == LAY_FAULT_GHOST;
}

static size_t part_names(const lay_unit *unit, lay_fault_kind kind, const char **names) {
    bool mesh = of_mesh(kind), rotor = kind == LAY_FAULT_ROTOR;
    size_t count = mesh ? unit->mesh_count : rotor ? unit->rotor_count : unit->bearing_count;
    if (count > NAMES_MAX) count = NAMES_MAX;
    for (size_t i = 0; i < count; i++)
        names[i] = mesh ? unit->meshes[i].name : rotor ? unit->rotors[i].name : unit->bearings[i].name;
    return count;
}

static lay_status find_part(const lay_unit *unit, const char *name, lay_fault *out, lay_error *err) {
    const char *names[NAMES_MAX];
    size_t count = part_names(unit, out->kind, names);
    for (size_t i = 0; i < count; i++)
        if (strcasecmp(names[i], name) == 0) {
            out->index = (int)i;
            return LAY_OK;
        }
    const char *near = lay_nearest(name, names, count);
    return lay_fail(err, LAY_BAD_USAGE, "the unit has no part '%.60s' that could have the fault '%s'%s%.60s%s", name,
                    lay_fault_kind_name(out->kind), near ? ": did you mean '" : "", near ? near : "", near ? "'?" : "");
}

static lay_status find_kind(const char *word, lay_fault *out, lay_error *err) {
    if (lay_fault_kind_parse(word, &out->kind)) return LAY_OK;
    const char *names[LAY_FAULT_COUNT];
    for (int i = 0; i < LAY_FAULT_COUNT; i++) names[i] = lay_fault_kind_name((lay_fault_kind)i);
    const char *near = lay_nearest(word, names, LAY_FAULT_COUNT);
    return lay_fail(err, LAY_BAD_USAGE, "there is no fault of kind '%.40s'%s%s%s", word, near ? ": did you mean '" : "",
                    near ? near : "", near ? "'?" : "");
}

static bool flank(const char *word, lay_fault *out) {
    bool both = strcasecmp(word, "both") == 0;
    if (!both && strcasecmp(word, "drive") != 0 && strcasecmp(word, "coast") != 0) return false;
    out->drive = both || strcasecmp(word, "drive") == 0;
    out->coast = both || strcasecmp(word, "coast") == 0;
    return true;
}

/* A word after the part: a flank, the condition of a mesh, or the body of one of the two wheels. */
static lay_status further(const lay_unit *unit, const char *word, lay_fault *out, lay_error *err) {
    if (flank(word, out)) return LAY_OK;
    if (!of_mesh(out->kind)) return lay_fail(err, LAY_BAD_USAGE, "'%.60s' is no flank: say drive, coast or both", word);
    if (out->kind == LAY_FAULT_MESH && lay_condition_parse(word, &out->condition)) return LAY_OK;
    const lay_mesh *mesh = &unit->meshes[out->index];
    const char *driver = unit->bodies[mesh->driver.body].name, *driven = unit->bodies[mesh->driven.body].name;
    if (strcasecmp(word, driver) == 0)
        out->wheel = 0;
    else if (strcasecmp(word, driven) == 0)
        out->wheel = 1;
    else
        return lay_fail(err, LAY_BAD_USAGE,
                        "'%.60s' is neither a flank (drive, coast, both) nor a wheel of '%.60s' (%.60s, %.60s)", word,
                        mesh->name, driver, driven);
    return LAY_OK;
}

lay_status lay_fault_from_words(const lay_unit *unit, const char *words, lay_fault *out, lay_error *err) {
    *out = (lay_fault){0};
    char *copy = lay_strdup(words), *rest = copy;
    if (!copy) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = LAY_OK;
    for (int place = 0; rest && status == LAY_OK; place++) {
        char *word = rest, *colon = strchr(rest, ':');
        rest = colon ? colon + 1 : NULL;
        if (colon) *colon = '\0';
        bool has_part = of_mesh(out->kind) || out->kind == LAY_FAULT_ROTOR ||
                        (out->kind >= LAY_FAULT_OUTER && out->kind <= LAY_FAULT_CAGE);
        if (place == 0)
            status = find_kind(word, out, err);
        else if (place == 1 && has_part)
            status = find_part(unit, word, out, err);
        else
            status = further(unit, word, out, err);
        bool wants_part = of_mesh(out->kind) || out->kind == LAY_FAULT_ROTOR ||
                          (out->kind >= LAY_FAULT_OUTER && out->kind <= LAY_FAULT_CAGE);
        if (status == LAY_OK && place == 0 && wants_part && !rest)
            status = lay_fail(err, LAY_BAD_USAGE, "say which part: --fault %s:PART", word);
    }
    free(copy);
    return status;
}
