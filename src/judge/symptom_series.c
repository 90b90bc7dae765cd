/* What the series of mesh lines tells: rising harmonics, lines that repeat with the pairing of the teeth. */
#include "symptoms.h"

#include <math.h>

#define RISE_DB 3.0  /* a harmonic this much over the first order of the mesh */
#define SD_DB 3.0    /* of the difference once the structure's answer is taken off; without it twice that */
#define STANDS 3.0   /* significance of a line between the mesh harmonics, -lg of chance */
#define PAIR_DB 25.0 /* such lines further below the mesh do not matter */
#define LINES 2      /* that have to be there: one alone may be anybody's */

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
                 "the mesh's %s multiple is %.0f dB louder than its first order%s: the tooth profile is worn, or the "
                 "contact has moved to an edge",
                 which == 2   ? "second"
                 : which == 3 ? "third"
                 : which == 4 ? "fourth"
                              : "fifth",
                 rise, p->l->out->answered ? ", resonances taken off" : "");
    return lay_symptom_add(p->suspect, &found, &text, NULL, err);
}

/* ---- pairing of the teeth ---- */

#define OWN_TURNS 3.5 /* lines so near a mesh harmonic, in turns of a wheel, are that wheel's sidebands */
#define MULTIPLES 12  /* of the pairing that are looked at */

static bool of_a_wheel(const lay_expected *e, double at, double reach) {
    double from_mesh = fabs(remainder(at, e->order));
    for (int w = 0; w < 2; w++) {
        double turns = from_mesh / e->wheel_order[w], reached = reach / e->wheel_order[w];
        if (turns < OWN_TURNS && fabs(turns - round(turns)) < reached) return true;
    }
    return false;
}

/* The k-th place where a line of the pairing may stand; false when there is none. With common factors in the tooth
 * counts the same pairing comes back several times per turn of the mesh's repeat, at the multiples of order / gcd;
 * hunting pairs repeat so rarely that the line lies close beside the mesh. */
static bool pairing_place(const lay_expected *e, int k, double *at) {
    if (e->assembly_phases > 1) {
        *at = k * e->order / e->assembly_phases;
        return k % e->assembly_phases != 0;
    }
    *at = e->order + (k % 2 ? 1 : -1) * ((k + 1) / 2) * e->hunting_order;
    return true;
}

/* Another part, or a low multiple of a shaft, makes the line that stands here. */
static bool of_another_part(const lay_run_evidence *run, double order, double reach) {
    for (size_t i = 0; i < run->line_count; i++) {
        const lay_explained_line *l = &run->lines[i];
        if (fabs(l->line.order - order) > reach || l->claim_count == 0) continue;
        if (l->claims[0].class_ != LAY_LINE_GHOST) return true;
    }
    return false;
}

typedef struct pairing_lines {
    int count;
    double strongest_db, order; /* re the mesh */
} pairing_lines;

/* Lines that come back with the pairing of the teeth and can be told from the mesh, its sidebands and everything else.
 */
static pairing_lines pairing(const lay_run_evidence *run, const lay_expected *e) {
    pairing_lines found = {.strongest_db = -INFINITY};
    double reach = 4 * run->spectrum.step + 2 * lay_order_tolerance(run, e->order);
    lay_tone mesh, tone;
    lay_tone_at(run, e->order, 0, &mesh);
    if (!mesh.valid || !(mesh.power > 0)) return found;
    for (int k = 1; k <= MULTIPLES; k++) {
        double at;
        if (!pairing_place(e, k, &at) || fabs(remainder(at, e->order)) < reach) continue;
        if (of_a_wheel(e, at, reach) || lay_engine_order(run, at) || of_another_part(run, at, 0.5 * reach)) continue;
        lay_tone_at(run, at, 0, &tone);
        if (!tone.valid || tone.fixed || tone.significance < STANDS || tone.off_sd > 3) continue;
        double level = lay_db_power(tone.power / mesh.power);
        if (level < -PAIR_DB) continue;
        found.count++;
        if (level > found.strongest_db) found.strongest_db = level, found.order = at;
    }
    return found;
}

lay_status lay_symptom_mates(lay_patient *p, lay_error *err) {
    int run = p->suspect->best_run;
    const lay_expected *e = run >= 0 ? lay_looking_part(p->l, (size_t)p->index, (size_t)run) : NULL;
    if (!e) return LAY_OK;
    pairing_lines lines = pairing(&p->l->runs[run], e);
    if (lines.count < LINES) return LAY_OK;
    lay_symptom found = {.kind = LAY_SYMPTOM_MATES, .value = lines.strongest_db, .run = run};
    found.sure = lay_logistic(lines.count - LINES + 0.5);
    lay_text text = {0};
    lay_text_add(
        &text,
        "%d lines come back with the pairing of the teeth, the strongest at order %.3f %.0f dB below the mesh: the "
        "wheels did not run in together, or were put together a tooth off",
        lines.count, lines.order, -lines.strongest_db);
    return lay_symptom_add(p->suspect, &found, &text, NULL, err);
}
