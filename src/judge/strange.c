#include "strange.h"

#include <math.h>

/* A line is strange when the families of the file leave most of it unexplained. Claims that rest on a coincidence do
 * not count: a high harmonic without its lower ones, a sideband far above its own mesh line. */

#define STRONG_DB 3.0 /* tone-to-noise ratio of a line that needs an explanation */
#define STRONG_SIGNIFICANCE 5.0
#define LEAST_ORDER 6.0 /* below, a line alone asks for no explanation */
#define SURE_SPEED 0.5  /* least confidence in a speed found without tach */

static bool made_by_engine(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c) {
    return c->order <= 3 * run->expected[c->part].order + 1 ||
           lay_engine_share(run, c->order) > 0.25 * line->line.power;
}

/* A high harmonic far above the lower ones may be something else. */
static bool stands_alone(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c) {
    for (int k = 1; k < c->harmonic && k <= 2; k++) {
        lay_tone lower;
        lay_tone_at(run, k * c->order / c->harmonic, 0, &lower);
        if (lower.valid && lower.tnr_db > line->line.tnr_db - LAY_ABSENT_DB) return false;
    }
    return c->harmonic >= (c->class_ == LAY_LINE_ROTOR ? 2 : 3);
}

/* A sideband above its own carrier may be the mesh line of another count. */
static bool outdoes_carrier(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c) {
    lay_tone carrier;
    lay_tone_at(run, c->harmonic * run->expected[c->part].order, 0, &carrier);
    return !carrier.valid || carrier.tnr_db < line->line.tnr_db - LAY_ABSENT_DB;
}

static bool needs_explanation(const lay_run_evidence *run, const lay_explained_line *line) {
    double explained = 0;
    if (line->line.tnr_db < STRONG_DB || line->line.significance < STRONG_SIGNIFICANCE || line->line.order < 1.2)
        return false;
    for (int i = 0; i < line->claim_count; i++) {
        const lay_claim *c = &line->claims[i];
        bool toothed = c->class_ == LAY_LINE_MESH || c->class_ == LAY_LINE_AXLE;
        bool turning = toothed || c->class_ == LAY_LINE_ROTOR || c->class_ == LAY_LINE_SHAFT;
        if (c->class_ == LAY_LINE_UNKNOWN || c->class_ == LAY_LINE_GHOST || c->class_ == LAY_LINE_BEARING) continue;
        if (c->class_ == LAY_LINE_ENGINE && !made_by_engine(run, line, c)) continue;
        if (toothed && c->sideband && outdoes_carrier(run, line, c)) continue;
        if (turning && !c->sideband && stands_alone(run, line, c)) continue;
        explained += c->probability;
    }
    return explained < 0.4;
}

/* The engine may be strong at one of its orders alone where it fires, elsewhere its neighbours tell how strong it is.
 */
static bool engine_may(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c) {
    const lay_expected *engine = &run->expected[c->part];
    double firings = c->order / engine->order, least = fabs(firings - round(firings)) < 1e-6 ? 0.01 : 0.1;
    return lay_engine_share(run, c->order) > least * line->line.power;
}

/* Low orders have many makers. */
static bool open_to_none(const lay_run_evidence *run, const lay_explained_line *line) {
    lay_tone tone;
    lay_tone_at(run, line->line.order, 0, &tone);
    if (line->line.order < LEAST_ORDER || tone.fixed) return false;
    for (int i = 0; i < line->claim_count; i++)
        if (line->claims[i].class_ == LAY_LINE_ENGINE && engine_may(run, line, &line->claims[i])) return false;
    return true;
}

/* Strong lines count for more than many weak ones. */
double lay_strange_weight(double tnr_db) {
    double over = fmin(tnr_db, 18) - STRONG_DB + 1;
    return over * over;
}

static double centre_sd(const lay_run_evidence *run, const lay_line *line) {
    double bin = 0.12 * run->spectrum.step;
    double speed = (run->speed_source == LAY_SPEED_TACH ? 3e-5 : 4e-4) * line->order;
    return sqrt(line->order_sd * line->order_sd + bin * bin + speed * speed);
}

/* Without a confirmed speed the orders themselves are in doubt. */
bool lay_orders_trusted(const lay_run_evidence *run) {
    return run->usable && run->gear >= 0 &&
           (run->speed_source == LAY_SPEED_TACH || run->speed_confidence >= SURE_SPEED);
}

lay_status lay_strange_collect(const lay_run_evidence *runs, size_t run_count, lay_strange_list *out, lay_error *err) {
    *out = (lay_strange_list){0};
    for (size_t r = 0; r < run_count; r++) {
        const lay_run_evidence *run = &runs[r];
        for (size_t i = 0; lay_orders_trusted(run) && i < run->line_count; i++) {
            const lay_line *line = &run->lines[i].line;
            if (!needs_explanation(run, &run->lines[i])) continue;
            lay_status status = lay_grow((void **)&out->items, &out->capacity, out->count, sizeof *out->items, err);
            if (status != LAY_OK) return status;
            bool open = open_to_none(run, &run->lines[i]);
            out->items[out->count++] = (lay_strange){r, line->order, centre_sd(run, line), line->tnr_db, open};
            if (open) out->weight += lay_strange_weight(line->tnr_db);
        }
    }
    return LAY_OK;
}

const lay_strange *lay_strange_near(const lay_strange_list *list, size_t run, double order, double *distance) {
    const lay_strange *best = NULL;
    for (size_t i = 0; i < list->count; i++) {
        const lay_strange *x = &list->items[i];
        double d = fabs(x->order - order) / x->sd;
        if (x->run != run || d > 3.5 || (best && d >= *distance)) continue;
        best = x;
        *distance = d;
    }
    return best;
}
