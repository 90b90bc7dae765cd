/* What the series of mesh lines tells: rising harmonics. */
#include "symptoms.h"

#include <math.h>

#define RISE_DB 3.0 /* a harmonic this much over the first order of the mesh */
#define SD_DB 3.0   /* of the difference once the structure's answer is taken off; without it twice that */

/* ---- harmonics ---- */

/* Excitation of a harmonic, the structure's answer taken off, mean over the runs that load the mesh; NaN where it was
 * not measured. */
static double excitation(const lay_patient *p, int h) {
    const lay_look *look = p->l->out;
    double sum = 0;
    int n = 0;
    for (size_t i = 0; i < look->cut_count; i++) {
        const lay_look_order *of = &look->orders[i];
        if (of->suspect != p->index || of->harmonic != h || isnan(look->response.excitation_db[i])) continue;
        const lay_expected *e = lay_looking_part(p->l, (size_t)p->index, (size_t)of->run);
        if (!e || !e->loaded) continue;
        sum += look->response.excitation_db[i];
        n++;
    }
    return n ? sum / n : NAN;
}

static double harmonic_level(const lay_patient *p, int h) {
    return p->l->out->answered ? excitation(p, h) : lay_patient_level(p, p->suspect->best_run, h);
}

lay_status lay_symptom_harmonics(lay_patient *p, lay_error *err) {
    double first = harmonic_level(p, 1), most = -INFINITY, sd = p->l->out->answered ? SD_DB : 2 * SD_DB;
    int which = 0;
    for (int h = 2; h <= LAY_LOOK_HARMONICS; h++) {
        double level = harmonic_level(p, h);
        if (level > most) most = level, which = h;
    }
    double rise = most - first, sure = 1 - lay_normal_survival((rise - RISE_DB) / sd);
    if (which == 0 || !(sure >= 0.5)) return LAY_OK;
    lay_symptom found = {.kind = LAY_SYMPTOM_HARMONICS, .value = rise, .sure = sure, .run = p->suspect->best_run};
    lay_text text = {0};
    lay_text_add(&text,
                 "the mesh's %s multiple is %.0f dB louder than its first order%s: as with a worn profile or a "
                 "contact that has moved to an edge",
                 which == 2   ? "second"
                 : which == 3 ? "third"
                 : which == 4 ? "fourth"
                              : "fifth",
                 rise, p->l->out->answered ? ", resonances taken off" : "");
    return lay_symptom_add(p->suspect, &found, &text, NULL, err);
}
