#include "symptoms.h"

#include <math.h>
#include <stdlib.h>

static const char *const names[LAY_SYMPTOM_COUNT] = {"run-out",   "local", "twice", "loose",
                                                     "harmonics", "mates", "flank", "resonance"};

const char *lay_symptom_name(lay_symptom_kind kind) {
    return kind < LAY_SYMPTOM_COUNT ? names[kind] : "unknown";
}

lay_status lay_symptom_add(lay_suspect *s, const lay_symptom *symptom, lay_text *text, const char *body,
                           lay_error *err) {
    lay_symptom *all = realloc(s->symptoms, (s->symptom_count + 1) * sizeof *all);
    if (all) s->symptoms = all;
    char *name = body ? lay_strdup(body) : NULL;
    if (!all || text->failed || !text->text || (body && !name)) {
        free(name);
        lay_text_free(text);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the findings");
    }
    size_t at = s->symptom_count++;
    for (; at > 0 && all[at - 1].kind > symptom->kind; at--) all[at] = all[at - 1];
    all[at] = *symptom;
    all[at].text = text->text;
    all[at].body = name;
    *text = (lay_text){0};
    return LAY_OK;
}

double lay_patient_level(const lay_patient *p, int run, int h) {
    const lay_look *look = p->l->out;
    double sum = 0, seconds = 0;
    for (size_t i = 0; i < look->cut_count; i++) {
        const lay_look_order *of = &look->orders[i];
        const lay_cut *cut = &look->cuts[i];
        if (of->suspect != p->index || of->run != run || of->harmonic != h) continue;
        for (size_t k = 0; k < cut->count; k++) {
            sum += fmax(cut->power[k] - cut->floor[k], 0) * cut->seconds[k];
            seconds += cut->seconds[k];
        }
    }
    return sum > 0 ? lay_db_power(sum / seconds) : NAN;
}

static lay_status examine(lay_looking *l, size_t suspect, lay_error *err) {
    lay_patient p = {.l = l, .suspect = &l->verdict->suspects[suspect], .index = (int)suspect};
    lay_status status = LAY_OK;
    for (size_t i = 0; i < l->out->wheel_count && status == LAY_OK; i++) {
        const lay_look_wheel *w = &l->out->wheels[i];
        if (w->suspect != (int)suspect) continue;
        p.wheel[w->wheel] = w;
        status = lay_turn_look(w, &p.turn[w->wheel], err);
    }
    if (status == LAY_OK) status = lay_symptom_flank(&p, err);
    if (status == LAY_OK) status = lay_symptom_turn(&p, err);
    if (status == LAY_OK) status = lay_symptom_harmonics(&p, err);
    if (status == LAY_OK) status = lay_symptom_mates(&p, err);
    if (status == LAY_OK) status = lay_symptom_resonance(&p, err);
    return status;
}

lay_status lay_symptoms_find(lay_looking *l, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t s = 0; s < l->verdict->suspect_count && status == LAY_OK; s++) status = examine(l, s, err);
    return status;
}
