#include "look.h"

#include "symptoms.h"

#include <stdlib.h>
#include <string.h>

#define WORTH 0.25 /* less likely suspects are not worth another reading */

const lay_expected *lay_looking_part(const lay_looking *l, size_t suspect, size_t run) {
    const lay_suspect *s = &l->verdict->suspects[suspect];
    const lay_run_evidence *r = &l->runs[run];
    if (!s->part || s->probability < WORTH || !lay_run_trusted(r) || r->shaft.count < 2) return NULL;
    for (size_t i = 0; i < r->expected_count; i++) {
        const lay_expected *e = &r->expected[i];
        bool toothed = e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE;
        if (toothed && e->turning && e->order > 0 && strcmp(e->name, s->part) == 0) return e;
    }
    return NULL;
}

static bool anything_to_see(const lay_looking *l) {
    for (size_t s = 0; s < l->verdict->suspect_count; s++)
        for (size_t r = 0; r < l->run_count; r++)
            if (lay_looking_part(l, s, r)) return true;
    return false;
}

lay_status lay_look_closer(const lay_unit *unit, const lay_run_table *table, const lay_run_evidence *runs, size_t count,
                           int threads, lay_verdict *verdict, lay_look *out, lay_error *err) {
    *out = (lay_look){0};
    lay_looking l = {unit, table, runs, count, threads, verdict, out};
    if (verdict->outcome == LAY_CLEAR || !anything_to_see(&l)) return LAY_OK;
    lay_status status = lay_looking_cuts(&l, err);
    if (status == LAY_OK && out->cut_count)
        status = lay_response_find(out->cuts, out->cut_count, &out->response, &out->answered, err);
    if (status == LAY_OK) status = lay_looking_turns(&l, err);
    if (status == LAY_OK) status = lay_symptoms_find(&l, err);
    if (status != LAY_OK) lay_look_free(out);
    return status;
}

void lay_look_free(lay_look *look) {
    if (!look) return;
    lay_cuts_free(look->cuts, look->cut_count);
    free(look->orders);
    lay_response_free(&look->response);
    for (size_t i = 0; i < look->wheel_count; i++) {
        lay_tsa_average_free(&look->wheels[i].average);
        lay_gear_signals_free(&look->wheels[i].signals);
    }
    free(look->wheels);
    for (size_t i = 0; i < look->pair_count; i++) lay_tsa_average_free(&look->pairs[i].average);
    free(look->pairs);
    *look = (lay_look){0};
}
