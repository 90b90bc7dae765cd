#include "strikes.h"

#include <math.h>

/* What a hypothesis that strikes does in one run, by kinematics alone. */

double lay_strike_order(const lay_hypothesis *h, const lay_run_evidence *run) {
    if (h->index < 0) {
        const lay_kinematics *k = &run->kinematics;
        return run->gear < 0 || k->free_body[h->wheel] ? 0 : h->order * fabs(k->speed[h->wheel].value);
    }
    const lay_expected *e = lay_hypothesis_expected(h, run);
    if (!e || !e->turning) return 0;
    switch (h->kind) {
    case LAY_KIND_CHIP:
        return e->wheel_order[h->wheel];
    case LAY_KIND_OUTER:
        return e->bpfo;
    case LAY_KIND_INNER:
        return e->bpfi;
    case LAY_KIND_ELEMENT:
        return h->multiple == 1 ? e->ftf : e->bsf2;
    case LAY_KIND_CAGE:
        return e->ftf;
    default:
        return 0;
    }
}

double lay_strike_swing(const lay_hypothesis *h, const lay_run_evidence *run) {
    const lay_expected *e = lay_hypothesis_expected(h, run);
    if (!e || !e->turning) return 0;
    if (h->kind == LAY_KIND_INNER) return e->ring_order[0];
    if (h->kind == LAY_KIND_OUTER) return e->ring_order[1];
    return h->kind == LAY_KIND_ELEMENT && h->multiple == 0 ? e->ftf : 0;
}

bool lay_strike_expected(const lay_hypothesis *h, const lay_run_evidence *run, lay_flank flank) {
    if (h->index < 0) return lay_strike_order(h, run) > 0;
    const lay_expected *e = lay_hypothesis_expected(h, run);
    if (!e || !e->turning) return false;
    if (h->kind != LAY_KIND_CHIP && flank == LAY_FLANK_ANY) return true;
    if (!e->loaded || run->load == LAY_LOAD_NONE) return false;
    if (h->kind != LAY_KIND_CHIP || flank == LAY_FLANK_ANY) return true;
    return flank == LAY_FLANK_DRIVE ? run->load != LAY_LOAD_COAST
                                    : run->load == LAY_LOAD_COAST || run->load == LAY_LOAD_UNKNOWN;
}

bool lay_strikes_alike(const lay_hypothesis *a, const lay_hypothesis *b, const lay_run_evidence *runs,
                       size_t run_count) {
    bool any = false;
    if (a->kind != b->kind || a->multiple != b->multiple) return false;
    for (size_t r = 0; r < run_count; r++) {
        if (!runs[r].usable || runs[r].gear < 0) continue;
        double x = lay_strike_order(a, &runs[r]), y = lay_strike_order(b, &runs[r]);
        if ((x > 0) != (y > 0) || fabs(x - y) > LAY_STRIKE_ALIKE * x) return false;
        if (x <= 0) continue;
        if (lay_strike_expected(a, &runs[r], LAY_FLANK_ANY) != lay_strike_expected(b, &runs[r], LAY_FLANK_ANY) &&
            a->kind == LAY_KIND_CHIP)
            return false;
        if (fabs(lay_strike_swing(a, &runs[r]) - lay_strike_swing(b, &runs[r])) > 1e-6 && a->kind != LAY_KIND_ELEMENT)
            return false;
        any = true;
    }
    return any;
}
