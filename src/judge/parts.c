/* What may stay: a part is cleared only where a recording put it to the test and no fault of it is likely. */
#include "judging.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define CLEARED_BELOW 0.05
#define SUSPECT_FROM 0.25

/* How often the recordings put a part to the test. */
typedef struct trials {
    int drive, coast, other; /* trusted runs, by load; bearings: `other` counts them all */
    int microphones;         /* of them made with a microphone */
} trials;

static bool loads(const lay_run_evidence *run, const lay_expected *part) {
    return part->turning && part->loaded && run->load != LAY_LOAD_NONE;
}

static void count_run(const lay_run_evidence *run, const lay_expected *part, trials *t) {
    bool mesh = part->type == LAY_PART_MESH;
    if (!lay_run_trusted(run) || !part->turning) return;
    if (mesh ? !loads(run, part) : run->envelope.band_count == 0) return;
    t->microphones += run->sensor == LAY_SENSOR_MIC;
    if (mesh && run->load == LAY_LOAD_COAST)
        t->coast++;
    else if (mesh && (run->load == LAY_LOAD_DRIVE || run->load == LAY_LOAD_STEADY))
        t->drive++;
    else
        t->other++;
}

static trials trials_of(const lay_judging *j, lay_part_type type, int index) {
    trials t = {0};
    for (size_t r = 0; r < j->run_count; r++)
        for (size_t i = 0; i < j->runs[r].expected_count; i++) {
            const lay_expected *part = &j->runs[r].expected[i];
            if (part->type == type && part->index == index) count_run(&j->runs[r], part, &t);
        }
    return t;
}

static double any_fault(const lay_judging *j, lay_part_type type, int index) {
    double sum = 0;
    for (size_t i = 0; i < j->list.count; i++) {
        const lay_hypothesis *h = &j->list.items[i];
        if (h->index == index && h->type == type && !lay_hypothesis_outside(h)) sum += j->scores[i].probability;
    }
    return fmin(sum, 0.999);
}

static const char *twin_of(const lay_verdict *v, const char *part) {
    for (size_t i = 0; i < v->suspect_count; i++) {
        const lay_strings *twins = &v->suspects[i].not_separable_from;
        if (v->suspects[i].probability < SUSPECT_FROM) continue;
        for (size_t k = 0; k < twins->count; k++)
            if (strcmp(twins->items[k], part) == 0) return v->suspects[i].part;
    }
    return NULL;
}

static char *phrase(const char *fmt, ...) LAY_PRINTF(1, 2);
static char *phrase(const char *fmt, ...) {
    lay_text t = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&t, fmt, args);
    va_end(args);
    if (!t.failed) return t.text;
    lay_text_free(&t);
    return NULL;
}

static const char *recordings(int count) {
    return count == 1 ? "recording" : "recordings";
}

static char *mesh_tested(const trials *t) {
    if (t->drive && t->coast)
        return phrase("quiet in %d %s on drive and %d on coast", t->drive, recordings(t->drive), t->coast);
    if (t->drive) return phrase("quiet in %d %s on drive; none on coast", t->drive, recordings(t->drive));
    if (t->coast) return phrase("quiet in %d %s on coast; none on drive", t->coast, recordings(t->coast));
    return phrase("quiet in %d %s under load", t->other, recordings(t->other));
}

static void decide_mesh(const trials *t, lay_part_finding *f) {
    if (t->drive + t->coast + t->other == 0) {
        f->state = LAY_STATE_UNTESTED;
        f->why = phrase("no recording puts torque through it");
    } else {
        f->state = LAY_STATE_CLEARED;
        f->why = mesh_tested(t);
    }
}

static void decide_bearing(const trials *t, const lay_bearing *b, lay_part_finding *f) {
    f->state = LAY_STATE_UNTESTED;
    if (t->other == 0)
        f->why = phrase("no recording in which it turns is good for blows");
    else if (t->other == t->microphones)
        f->why = phrase("a microphone hears but the worst bearings");
    else if (b->basis == LAY_BEARING_COUNT_ONLY)
        f->why = phrase("only the number of its rolling elements is known");
    else {
        f->state = LAY_STATE_CLEARED;
        f->why = phrase("no blows in %d %s", t->other, recordings(t->other));
    }
}

static void decide(const lay_judging *j, int index, lay_part_finding *f) {
    const char *twin = twin_of(j->out, f->part);
    trials t = trials_of(j, f->type, index);
    if (f->probability >= SUSPECT_FROM) {
        f->state = LAY_STATE_SUSPECT;
        f->why = phrase("named above");
    } else if (twin) {
        f->state = LAY_STATE_OPEN;
        f->why = phrase("these recordings cannot tell it from '%s'", twin);
    } else if (f->probability >= CLEARED_BELOW) {
        f->state = LAY_STATE_OPEN;
        f->why = phrase("a fault is less likely but not ruled out");
    } else if (f->type == LAY_PART_MESH) {
        decide_mesh(&t, f);
    } else {
        decide_bearing(&t, &j->unit->bearings[index], f);
    }
}

static bool add(lay_judging *j, lay_part_type type, int index, const char *name) {
    lay_part_finding *f = &j->out->parts[j->out->part_count++];
    *f = (lay_part_finding){.part = name, .type = type, .probability = any_fault(j, type, index)};
    decide(j, index, f);
    return f->why != NULL;
}

lay_status lay_judging_parts(lay_judging *j, lay_error *err) {
    const lay_unit *u = j->unit;
    j->out->parts = lay_calloc(u->mesh_count + u->bearing_count + 1, sizeof *j->out->parts);
    bool enough = j->out->parts != NULL;
    for (size_t i = 0; i < u->mesh_count && enough; i++) enough = add(j, LAY_PART_MESH, (int)i, u->meshes[i].name);
    for (size_t i = 0; i < u->bearing_count && enough; i++)
        enough = add(j, LAY_PART_BEARING, (int)i, u->bearings[i].name);
    return enough ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}
