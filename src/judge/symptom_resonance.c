/* Loud because the mesh excites, or because the structure answers? */
#include "symptoms.h"

#include <math.h>

#define LIFT_DB 4.0 /* by which the answer must lift the loudest speed over the others */
#define SD_DB 2.0

/* Answer at a frequency; NaN where no order passed. */
static double answer_at(const lay_response *r, double hz) {
    double at = log(hz / r->low_hz) / r->step;
    if (at < -0.5 || at > (double)r->points - 0.5) return NAN;
    return r->answer_db[(size_t)fmax(0, fmin(round(at), (double)r->points - 1))];
}

/* The cut of the suspect that is loudest somewhere, of those over a range of speed, and where. */
static const lay_cut *loudest(const lay_patient *p, size_t *point, int *run) {
    const lay_look *look = p->l->out;
    const lay_cut *best = NULL;
    double most = 0;
    for (size_t i = 0; i < look->cut_count; i++) {
        const lay_cut *cut = &look->cuts[i];
        if (look->orders[i].suspect != p->index || cut->count < 4) continue;
        for (size_t k = 0; k < cut->count; k++) {
            if (cut->power[k] - cut->floor[k] <= most) continue;
            most = cut->power[k] - cut->floor[k];
            best = cut;
            *point = k;
            *run = look->orders[i].run;
        }
    }
    return best;
}

static const lay_resonance *resonance_at(const lay_response *r, double hz) {
    for (size_t i = 0; i < r->resonance_count; i++)
        if (fabs(r->resonances[i].hz - hz) <= fmax(0.7 * r->resonances[i].width_hz, 0.03 * hz))
            return &r->resonances[i];
    return NULL;
}

/* Median answer over the speeds of the cut. */
static double usual_answer(const lay_response *r, const lay_cut *cut) {
    double answer[256];
    size_t n = 0;
    for (size_t k = 0; k < cut->count && n < 256; k++) {
        double value = answer_at(r, cut->order * cut->hz[k]);
        if (!isnan(value)) answer[n++] = value;
    }
    return n ? lay_median(answer, n) : NAN;
}

/* To the nearest 10, or 50 above 1000. */
static double rounded(double value) {
    double step = value >= 1000 ? 50 : 10;
    return step * round(value / step);
}

lay_status lay_symptom_resonance(lay_patient *p, lay_error *err) {
    const lay_look *look = p->l->out;
    if (!look->answered || !look->response.resonance_count) return LAY_OK;
    size_t point = 0;
    int run = -1;
    const lay_cut *cut = loudest(p, &point, &run);
    if (!cut) return LAY_OK;
    double hz = cut->order * cut->hz[point];
    const lay_resonance *resonance = resonance_at(&look->response, hz);
    if (!resonance) return LAY_OK;
    double lift = answer_at(&look->response, resonance->hz) - usual_answer(&look->response, cut);
    double sure = 1 - lay_normal_survival((lift - LIFT_DB) / SD_DB);
    if (!(sure >= 0.5)) return LAY_OK;
    lay_symptom found = {.kind = LAY_SYMPTOM_RESONANCE, .value = lift, .sure = sure, .run = run};
    lay_text text = {0};
    lay_text_add(
        &text,
        "loudest at %.0f rpm because the case, the vehicle or the sensor's mounting answers near %.0f Hz: %.0f dB of "
        "its level there are that answer, which %d orders show, not the mesh",
        rounded(60 * resonance->hz / cut->order), rounded(resonance->hz), lift, resonance->orders);
    return lay_symptom_add(p->suspect, &found, &text, NULL, err);
}
