#include "hypothesis.h"

#include "strikes.h"

#include <math.h>
#include <stdlib.h>

const lay_expected *lay_hypothesis_expected(const lay_hypothesis *h, const lay_run_evidence *run) {
    for (size_t i = 0; i < run->expected_count && h->index >= 0; i++)
        if (run->expected[i].type == h->type && run->expected[i].index == h->index) return &run->expected[i];
    return NULL;
}

const char *lay_hypothesis_part(const lay_unit *unit, const lay_hypothesis *h) {
    if (h->index < 0) return NULL;
    switch (h->type) {
    case LAY_PART_MESH:
        return unit->meshes[h->index].name;
    case LAY_PART_BEARING:
        return unit->bearings[h->index].name;
    case LAY_PART_ENGINE:
        return "engine";
    case LAY_PART_AXLE:
        return "axle";
    case LAY_PART_ROTOR:
        return unit->rotors[h->index].name;
    }
    return NULL;
}

static const lay_wheel *wheel_of(const lay_unit *unit, const lay_hypothesis *h) {
    const lay_mesh *mesh = &unit->meshes[h->index];
    return h->wheel == 1 ? &mesh->driven : &mesh->driver;
}

int lay_hypothesis_body(const lay_unit *unit, const lay_hypothesis *h) {
    if (h->wheel < 0 || h->index < 0 || h->type != LAY_PART_MESH) return -1;
    return wheel_of(unit, h)->body;
}

bool lay_hypothesis_outside(const lay_hypothesis *h) {
    return h->kind == LAY_KIND_OUTSIDE;
}

bool lay_hypothesis_strikes(const lay_hypothesis *h) {
    switch (h->kind) {
    case LAY_KIND_CHIP:
    case LAY_KIND_OUTER:
    case LAY_KIND_INNER:
    case LAY_KIND_ELEMENT:
    case LAY_KIND_CAGE:
        return true;
    default:
        return false;
    }
}

/* ---- predictions ---- */

static void one(lay_group *group, double order, int harmonic) {
    *group = (lay_group){{order, 0}, 1, harmonic};
}

static bool predict_toothed(const lay_hypothesis *h, const lay_expected *e, lay_group *groups) {
    if (!e || !e->turning || e->order <= 0) return false;
    for (int k = 1; k <= LAY_GROUPS; k++) {
        if (h->kind != LAY_KIND_ECCENTRIC)
            one(&groups[k - 1], k * e->order, k);
        else if (k <= 3 && e->wheel_order[h->wheel] > 0)
            groups[k - 1] =
                (lay_group){{k * e->order - e->wheel_order[h->wheel], k * e->order + e->wheel_order[h->wheel]}, 2, k};
    }
    return true;
}

static bool predict_ghost(const lay_unit *unit, const lay_hypothesis *h, const lay_run_evidence *run,
                          lay_group *groups) {
    const lay_kinematics *k = &run->kinematics;
    const lay_mesh *mesh = &unit->meshes[h->index];
    int body = wheel_of(unit, h)->body;
    double turn = fabs(k->speed[body].value - k->speed[mesh->carrier].value);
    if (k->free_body[body] || turn < 1e-9) return false;
    one(&groups[0], h->multiple * turn, h->multiple);
    return true;
}

static bool predict_rotor(const lay_expected *e, lay_group *groups) {
    if (!e || !e->turning || e->order <= 0) return false;
    int n = 0;
    for (size_t i = 0; i < e->multiple_count && n < LAY_GROUPS; i++)
        one(&groups[n++], e->multiples[i] * e->order, (int)lround(e->multiples[i]));
    return n > 0;
}

static bool predict_unknown(const lay_unit *unit, const lay_hypothesis *h, const lay_run_evidence *run,
                            lay_group *groups) {
    double scale = 1;
    if (h->by_output) scale = unit->output >= 0 ? fabs(run->kinematics.speed[unit->output].value) : 0;
    if (scale < 1e-9) return false;
    one(&groups[0], h->order * scale, 1);
    return true;
}

bool lay_hypothesis_predict(const lay_unit *unit, const lay_hypothesis *h, const lay_run_evidence *run,
                            lay_group groups[LAY_GROUPS]) {
    for (int i = 0; i < LAY_GROUPS; i++) groups[i] = (lay_group){{0, 0}, 0, 0};
    if (run->gear < 0 || !run->usable || lay_hypothesis_strikes(h)) return false;
    if (h->index < 0) return predict_unknown(unit, h, run, groups);
    const lay_expected *e = lay_hypothesis_expected(h, run);
    if (h->kind == LAY_KIND_GHOST) return predict_ghost(unit, h, run, groups);
    if (h->type == LAY_PART_ROTOR) return predict_rotor(e, groups);
    return predict_toothed(h, e, groups);
}

/* ---- what a hypothesis explains ---- */

static bool toothed_explains(const lay_expected *e, const lay_run_evidence *run, double order) {
    double tolerance = 1.5 * lay_order_tolerance(run, order);
    int nearest = (int)lround(order / e->order);
    for (int k = nearest > 1 ? nearest - 1 : 1; k <= nearest + 1; k++) {
        double off = fabs(order - k * e->order);
        for (int n = 0; n <= (k <= 3 ? 2 : 0); n++)
            for (int w = 0; w < 2; w++)
                if (fabs(off - n * e->wheel_order[w]) < tolerance) return true;
    }
    return false;
}

bool lay_hypothesis_explains(const lay_unit *unit, const lay_hypothesis *h, const lay_run_evidence *run, double order) {
    lay_group groups[LAY_GROUPS];
    if (!lay_hypothesis_predict(unit, h, run, groups)) return false;
    const lay_expected *e = lay_hypothesis_expected(h, run);
    bool toothed = h->index >= 0 && h->kind != LAY_KIND_GHOST && (h->type == LAY_PART_MESH || h->type == LAY_PART_AXLE);
    if (toothed && e && e->order > 0) return toothed_explains(e, run, order);
    for (int g = 0; g < LAY_GROUPS; g++)
        for (int k = 1; k <= 3 && groups[g].count; k++)
            if (fabs(order - k * groups[g].order[0]) < 1.5 * lay_order_tolerance(run, order)) return true;
    return false;
}

static bool same_groups(const lay_group *a, const lay_group *b, const lay_run_evidence *run) {
    for (int g = 0; g < LAY_GROUPS; g++) {
        if ((a[g].count > 0) != (b[g].count > 0)) return false;
        for (int s = 0; s < a[g].count && s < b[g].count; s++)
            if (fabs(a[g].order[s] - b[g].order[s]) > lay_order_tolerance(run, a[g].order[s])) return false;
    }
    return true;
}

bool lay_hypotheses_same_lines(const lay_unit *unit, const lay_hypothesis *a, const lay_hypothesis *b,
                               const lay_run_evidence *runs, size_t run_count) {
    if (lay_hypothesis_strikes(a) || lay_hypothesis_strikes(b)) return lay_strikes_alike(a, b, runs, run_count);
    bool any = false;
    for (size_t r = 0; r < run_count; r++) {
        lay_group ga[LAY_GROUPS], gb[LAY_GROUPS];
        if (!runs[r].usable) continue;
        bool has_a = lay_hypothesis_predict(unit, a, &runs[r], ga),
             has_b = lay_hypothesis_predict(unit, b, &runs[r], gb);
        if (has_a != has_b) return false;
        if (has_a && !same_groups(ga, gb, &runs[r])) return false;
        any = any || has_a;
    }
    return any;
}
