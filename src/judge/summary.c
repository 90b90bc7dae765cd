#include "judging.h"

#include <stdarg.h>
#include <stdlib.h>

/* The sentence on top of the verdict, and the recordings that would settle it. */

static const char *kind_words(lay_kind kind) {
    switch (kind) {
    case LAY_KIND_MESH:
        return "Gear whine";
    case LAY_KIND_ECCENTRIC:
        return "A wheel that runs out of true";
    case LAY_KIND_GHOST:
        return "A ghost order from gear cutting";
    default:
        return "Noise";
    }
}

static char *say(const char *fmt, ...) LAY_PRINTF(1, 2);
static char *say(const char *fmt, ...) {
    lay_text t = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&t, fmt, args);
    va_end(args);
    return t.text;
}

static const lay_suspect *first_of(const lay_verdict *v, bool outside) {
    for (size_t i = 0; i < v->suspect_count; i++)
        if ((v->suspects[i].kind == LAY_KIND_OUTSIDE) == outside) return &v->suspects[i];
    return NULL;
}

static char *summary_attention(const lay_suspect *s) {
    const char *body = s->body ? s->body : "", *open = s->body ? " (wheel on " : "", *close = s->body ? ")" : "";
    if (s->not_separable_from.count)
        return say("%s in '%s'%s%s%s needs attention; these recordings cannot tell it from '%s'.", kind_words(s->kind),
                   s->part, open, body, close, s->not_separable_from.items[0]);
    return say("%s in '%s'%s%s%s needs attention.", kind_words(s->kind), s->part, open, body, close);
}

static char *summary_unsure(const lay_judging *j) {
    if (lay_judging_usable(j) == 0) return say("None of the recordings can be used; see the warnings of each run.");
    if (!lay_judging_loaded(j))
        return say("In none of these recordings does a gear pair carry load (neutral and direct gear do not): add runs "
                   "in the other gears, on drive and on coast.");
    const lay_verdict *v = j->out;
    const char *part = v->suspect_count && v->suspects[0].part ? v->suspects[0].part : "a source outside";
    return say("Something may be wrong with '%s', but these recordings cannot tell for sure. Add: %s.", part,
               v->add.count ? v->add.items[0] : "a longer run in the same gear, on drive and on coast");
}

lay_status lay_judging_summarise(lay_judging *j, lay_error *err) {
    lay_verdict *v = j->out;
    const lay_suspect *out = first_of(v, true), *in = first_of(v, false);
    if (v->outcome == LAY_ATTENTION)
        v->summary = summary_attention(in);
    else if (v->outcome == LAY_OUTSIDE && out->part)
        v->summary = say("The noise comes from outside the transmission: %s.", out->part);
    else if (v->outcome == LAY_OUTSIDE)
        v->summary = say("The noise comes from outside the transmission, from a source the unit file does not list.");
    else if (v->outcome == LAY_CLEAR)
        v->summary = say("Nothing stands out in these recordings.");
    else
        v->summary = summary_unsure(j);
    return v->summary ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static bool has_run(const lay_judging *j, int gear, lay_load load) {
    for (size_t r = 0; r < j->run_count; r++)
        if (j->runs[r].usable && j->runs[r].gear == gear && j->runs[r].load == load) return true;
    return false;
}

/* Gears in which the first suspect carries torque and that have not been recorded on both flanks. */
lay_status lay_judging_advise(lay_judging *j, size_t first, lay_error *err) {
    lay_status status = LAY_OK;
    const lay_hypothesis *h = &j->list.items[first];
    for (int g = 0; g < (int)j->unit->gear_count && status == LAY_OK && j->out->add.count < 3; g++) {
        lay_kinematics k = {0};
        if (lay_unit_solve(j->unit, g, &k, NULL) != LAY_OK) continue;
        bool loaded = h->index >= 0 && h->type == LAY_PART_MESH ? k.loaded[h->index] : k.mesh_count > 0;
        for (int load = LAY_LOAD_DRIVE; load <= LAY_LOAD_COAST && loaded && status == LAY_OK; load++)
            if (!has_run(j, g, (lay_load)load) && j->out->add.count < 3)
                status = lay_strings_add(&j->out->add, err,
                                         "gear %s on %s, 15 s, rising slowly through the speed at which it is heard",
                                         j->unit->gears[g].name, lay_load_name((lay_load)load));
        lay_kinematics_free(&k);
    }
    int best = j->scores[first].best_run;
    if (status == LAY_OK && j->out->add.count == 0 && best >= 0) {
        const lay_run_evidence *run = &j->runs[best];
        status = lay_strings_add(
            &j->out->add, err,
            "gear %s on %s again, 30 s, rising slowly through the speed at which it is heard, with a tach pulse",
            run->gear >= 0 ? j->unit->gears[run->gear].name : "?",
            run->load ? lay_load_name(run->load) : "drive and coast");
    }
    return status;
}
