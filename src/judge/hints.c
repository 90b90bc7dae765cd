#include "hints.h"

#include "turn.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RUNS_OUT_DB (-10.0) /* modulation once per turn from here on: run-out */
#define SOUND_DB (-11.5)    /* and below: none; sound wheels have up to -12 dB (common practice, no source) */
#define STANDS_DB 8.0       /* over chance */
#define AHEAD_DB 3.0        /* of the other wheel's */
#define PLAY_DB (-25.0)     /* far sidebands that speak of play, not of run-out */
#define PLAY 4

static int mesh_named(const lay_unit *unit, const char *name) {
    for (size_t i = 0; i < unit->mesh_count; i++)
        if (name && strcmp(unit->meshes[i].name, name) == 0) return (int)i;
    return -1;
}

static bool has_play(const lay_turn_view *v) {
    int far = 0;
    for (int k = 3; k <= LAY_TURN_SIDES; k++) far += v->over_db[k - 1] >= STANDS_DB && v->side_db[k - 1] >= PLAY_DB;
    return far >= PLAY;
}

static double once(const lay_turn_view *v) {
    return v->over_db[0] >= STANDS_DB ? v->once_db : -100;
}

/* Wheel that runs out, -1 none; false: cannot be said. */
static bool opinion(const lay_turn_view view[2], int *wheel) {
    if (!view[0].seen || !view[1].seen || isnan(view[0].once_db) || isnan(view[1].once_db)) return false;
    double own[2] = {once(&view[0]), once(&view[1])};
    int worse = own[1] > own[0];
    if (has_play(&view[worse])) return false;
    if (own[worse] >= RUNS_OUT_DB && own[worse] >= own[1 - worse] + AHEAD_DB) {
        *wheel = worse;
        return true;
    }
    *wheel = -1; /* a side that another wheel's mesh hides might be the stronger one */
    return own[worse] < SOUND_DB && !isnan(view[0].swell) && !isnan(view[1].swell);
}

/* What the verdict says: the wheel, -1 for the mesh as a whole. */
static int said(const lay_unit *unit, const lay_suspect *s, int mesh) {
    if (s->kind == LAY_KIND_MESH || !s->body) return -1;
    return lay_unit_body(unit, s->body) == unit->meshes[mesh].driven.body ? 1 : 0;
}

/* Both wheels of a suspect; false when there are none. */
static lay_status views_of(const lay_look *look, size_t suspect, lay_turn_view view[2], bool *both, lay_error *err) {
    int found = 0;
    lay_status status = LAY_OK;
    for (size_t i = 0; i < look->wheel_count && status == LAY_OK; i++) {
        if (look->wheels[i].suspect != (int)suspect) continue;
        status = lay_turn_look(&look->wheels[i], &view[look->wheels[i].wheel], err);
        found++;
    }
    *both = found == 2;
    return status;
}

lay_status lay_turn_hints_find(const lay_unit *unit, const lay_verdict *verdict, const lay_look *look,
                               lay_turn_hints *out, lay_error *err) {
    *out = (lay_turn_hints){0};
    out->items = lay_calloc(verdict->suspect_count + 1, sizeof *out->items);
    if (!out->items) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for second thoughts");
    lay_status status = LAY_OK;
    for (size_t s = 0; s < verdict->suspect_count && status == LAY_OK; s++) {
        const lay_suspect *suspect = &verdict->suspects[s];
        lay_turn_view view[2];
        bool both = false;
        int wheel, mesh = mesh_named(unit, suspect->part);
        if (mesh < 0 || (suspect->kind != LAY_KIND_MESH && suspect->kind != LAY_KIND_ECCENTRIC)) continue;
        status = views_of(look, s, view, &both, err);
        if (status == LAY_OK && both && opinion(view, &wheel) && wheel != said(unit, suspect, mesh))
            out->items[out->count++] = (lay_turn_hint){mesh, wheel};
    }
    return status;
}
