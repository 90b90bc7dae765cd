/* Wheels that did not run in together: what comes back with the pairing of the teeth, once in lcm(z1, z2) meshes. With
 * a common factor g in the tooth counts wear has a pattern of g teeth, and lines stand at the multiples of mesh / g; a
 * hunting pair makes a slow beat, lines close beside the mesh (W. C. Foiles; Randall, from memory). */
#include "symptoms.h"

#include <math.h>

#define STANDS_DB 10.0   /* over chance */
#define LEAST_DB (-22.0) /* re the mesh line; weaker ones do not matter */
#define LINES 3          /* that have to be there: one alone may be anybody's */
#define BESIDE 4         /* places on either side of the mesh of a hunting pair */
#define OWN_TURNS 3      /* so near the mesh, in turns of a wheel, are that wheel's own sidebands */
#define HARMONICS 3

typedef struct pairing {
    const lay_look_pair *pair;
    const lay_expected *part;
    const lay_run_evidence *run;
    lay_turn_lines lines;
    int mesh;  /* number of the line of its strongest multiple */
    int count; /* lines found */
    double strongest_db, order;
} pairing;

static double level(const pairing *p, int line) {
    return lay_db_power(lay_turn_power(&p->lines, (size_t)line) / lay_turn_power(&p->lines, (size_t)p->mesh));
}

static double order_of(const pairing *p, int line) {
    return line * p->part->hunting_order;
}

/* Another part of the unit makes a line there, or the engine. */
static bool of_another(const pairing *p, double order) {
    double reach = lay_order_tolerance(p->run, order);
    if (lay_engine_order(p->run, order)) return true;
    for (size_t i = 0; i < p->run->expected_count; i++) {
        const lay_expected *e = &p->run->expected[i];
        if (e == p->part || e->type == LAY_PART_BEARING || e->type == LAY_PART_ENGINE || !(e->order > 0)) continue;
        double off = fabs(remainder(order, e->order));
        for (int w = 0; w < 2 && e->type != LAY_PART_ROTOR; w++)
            off = fmin(off, fabs(fabs(remainder(order, e->order)) - e->wheel_order[w]));
        if (order > 0.5 * e->order && off < reach) return true;
    }
    return false;
}

static void look_at(pairing *p, int line) {
    if (line < 1 || (size_t)line + 1 >= p->lines.count || of_another(p, order_of(p, line))) return;
    double over = lay_turn_power(&p->lines, (size_t)line) / fmax(lay_turn_chance(&p->lines, (size_t)line), 1e-300);
    if (lay_db_power(over) < STANDS_DB || level(p, line) < LEAST_DB) return;
    p->count++;
    if (level(p, line) <= p->strongest_db) return;
    p->strongest_db = level(p, line);
    p->order = order_of(p, line);
}

static void look_beside(pairing *p) {
    for (int k = 1; k <= BESIDE; k++) {
        look_at(p, p->mesh - k);
        look_at(p, p->mesh + k);
    }
}

/* Multiples of mesh / g; those within some turns of the mesh are a wheel's sidebands as well and say nothing. */
static void look_between(pairing *p, int g) {
    int step = p->pair->repeat / g;
    for (int j = 1; j < HARMONICS * g; j++) {
        int from_mesh = j % g < g - j % g ? j % g : g - j % g;
        bool own = false;
        for (int w = 0; w < 2; w++) own |= from_mesh * (p->part->teeth[w] / g) <= OWN_TURNS;
        if (from_mesh > 0 && !own) look_at(p, j * step);
    }
}

static void find_mesh(pairing *p) {
    p->mesh = p->pair->repeat;
    for (int h = 2; h <= HARMONICS && (size_t)(h * p->pair->repeat) < p->lines.count; h++)
        if (lay_turn_power(&p->lines, (size_t)(h * p->pair->repeat)) > lay_turn_power(&p->lines, (size_t)p->mesh))
            p->mesh = h * p->pair->repeat;
}

static const lay_look_pair *pair_of(const lay_patient *p) {
    for (size_t i = 0; i < p->l->out->pair_count; i++)
        if (p->l->out->pairs[i].suspect == p->index) return &p->l->out->pairs[i];
    return NULL;
}

static lay_status tell(lay_patient *patient, const pairing *p, lay_error *err) {
    lay_symptom found = {.kind = LAY_SYMPTOM_MATES, .value = p->strongest_db, .run = p->pair->run};
    found.sure = lay_logistic(p->count - LINES + 0.5);
    lay_text text = {0};
    lay_text_add(&text,
                 "%d lines come back with the pairing of the teeth, once in %d meshes, the strongest at order %.3f "
                 "%.0f dB below "
                 "the mesh: the wheels did not run in together, or were put together a tooth off",
                 p->count, p->pair->repeat, p->order, -p->strongest_db);
    return lay_symptom_add(patient->suspect, &found, &text, NULL, err);
}

lay_status lay_symptom_mates(lay_patient *patient, lay_error *err) {
    pairing p = {.pair = pair_of(patient), .strongest_db = -INFINITY};
    if (!p.pair) return LAY_OK;
    p.run = &patient->l->runs[p.pair->run];
    p.part = lay_looking_part(patient->l, (size_t)patient->index, (size_t)p.pair->run);
    lay_status status = lay_turn_lines_of(&p.pair->average, p.pair->channel, &p.lines, err);
    if (status == LAY_OK && p.part && p.lines.parted && (size_t)p.pair->repeat + BESIDE < p.lines.count) {
        find_mesh(&p);
        if (p.part->assembly_phases > 1)
            look_between(&p, p.part->assembly_phases);
        else
            look_beside(&p);
        if (p.count >= LINES) status = tell(patient, &p, err);
    }
    lay_turn_lines_free(&p.lines);
    return status;
}
