#include "strike_words.h"

#include <math.h>

/* What speaks against a fault that strikes, and what is open. */

#define WEAK_DB 7.0    /* lines below this are weak: noise alone reaches 5 dB now and then */
#define WHOLE_BINS 2.0 /* so near to a whole number of turns what is locked to the shaft reaches over */
#define FALLS_DB 6.0   /* what falls so far where the wheel is unloaded is not the engine */
#define RIVAL 0.01     /* two kinds of defect nearer than this differ by slip only */

lay_heights lay_strike_heights(const lay_blows *b) {
    lay_heights h = {0, 0, INFINITY, -INFINITY};
    for (int k = 0; k < b->lines; k++) {
        if (isnan(b->level_db[k])) continue;
        h.known++;
        h.mean += b->level_db[k];
        h.low = fmin(h.low, b->level_db[k]);
        h.high = fmax(h.high, b->level_db[k]);
    }
    if (h.known) h.mean /= h.known;
    return h;
}

static bool is_chip(const lay_finding *f) {
    return f->hypothesis->kind == LAY_KIND_CHIP;
}

static lay_status thin_evidence(const lay_finding *f, lay_strings *out, lay_error *err) {
    lay_heights h = lay_strike_heights(f->blows);
    lay_status status = LAY_OK;
    if (f->strike->runs == 1)
        status = lay_strings_add(out, err, "against it: %s",
                                 is_chip(f) ? "only one recording loads this pair in that way"
                                            : "only one recording can show it");
    if (status == LAY_OK && h.known && !lay_strike_swings_only(f) && h.mean < WEAK_DB)
        status = lay_strings_add(out, err, "against it: its lines are weak, %.0f dB on average", h.mean);
    return status;
}

/* What comes once per turn of the cage. */
static bool with_cage(const lay_finding *f) {
    return f->hypothesis->kind == LAY_KIND_CAGE || lay_strike_swings_only(f);
}

/* Another defect of the same bearing whose order differs by slip only. */
static lay_status near_kinds(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err) {
    const struct {
        lay_kind kind;
        double order;
        const char *words;
    } kinds[] = {{LAY_KIND_OUTER, e->bpfo, "the outer race"},
                 {LAY_KIND_INNER, e->bpfi, "the inner race"},
                 {LAY_KIND_ELEMENT, e->bsf2, "a ball or roller"}};
    lay_status status = LAY_OK;
    for (size_t i = 0; i < 3 && status == LAY_OK && !with_cage(f); i++) {
        if (kinds[i].kind == f->hypothesis->kind || !(kinds[i].order > 0)) continue;
        if (fabs(kinds[i].order / f->blows->order - 1) < RIVAL + e->tolerance)
            status = lay_strings_add(out, err, "against it: damage on %s of this bearing would strike nearly as often",
                                     kinds[i].words);
    }
    return status;
}

static lay_status rivals_of_bearing(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err) {
    const lay_turner t = lay_strike_turner(f, e);
    double turns = f->blows->order / t.order, whole = round(turns);
    double away = fabs(turns - whole) * t.order / f->runs[f->score->best_run].envelope.step;
    lay_status status = near_kinds(f, e, out, err);
    if (status == LAY_OK && whole >= 1 && away < WHOLE_BINS)
        status = lay_strings_add(
            out, err, "against it: that is so near to %.0f per turn that something on the shaft may do it", whole);
    if (status == LAY_OK && f->hypothesis->kind == LAY_KIND_CAGE)
        status =
            lay_strings_add(out, err,
                            "against it: a damaged ball or roller, or a load that wanders with the cage, swings the "
                            "noise at the same rate");
    if (status == LAY_OK && lay_strike_swings_only(f))
        status =
            lay_strings_add(out, err,
                            "against it: a worn cage, or a load that wanders with it, swings the noise at the same "
                            "rate, and the blows of the ball or roller itself are not seen");
    else if (status == LAY_OK && f->hypothesis->kind == LAY_KIND_ELEMENT)
        status = lay_strings_add(out, err, "mind: a worn cage often goes with a damaged ball or roller");
    if (status == LAY_OK && e->tolerance > LAY_STRIKE_GEOMETRY)
        status =
            lay_strings_add(out, err,
                            "mind: the unit file gives only the number of rolling elements; with their diameter and "
                            "the pitch diameter it could be told more surely");
    return status;
}

static lay_status rivals_of_tooth(const lay_finding *f, lay_strings *out, lay_error *err) {
    const lay_expected *engine = lay_run_engine(&f->runs[f->score->best_run]);
    double cycles = engine && engine->cycle_order > 0 ? f->blows->order / engine->cycle_order : 0;
    double falls = f->score->level_db - f->score->quiet_db;
    if (falls >= FALLS_DB || cycles < 0.5 || fabs(cycles - round(cycles)) > 1e-3) return LAY_OK;
    return lay_strings_add(
        out, err,
        "against it: this wheel turns in step with the engine, which may knock as often: listen with "
        "the clutch pressed");
}

static lay_status by_ear_only(const lay_finding *f, lay_strings *out, lay_error *err) {
    if (f->runs[f->score->best_run].sensor != LAY_SENSOR_MIC) return LAY_OK;
    return lay_strings_add(out, err,
                           "mind: a microphone hears only what the air carries of such blows; an accelerometer on the "
                           "case near this part tells more");
}

lay_status lay_strike_doubts(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err) {
    lay_status status = thin_evidence(f, out, err);
    if (status == LAY_OK) status = is_chip(f) ? rivals_of_tooth(f, out, err) : rivals_of_bearing(f, e, out, err);
    return status == LAY_OK ? by_ear_only(f, out, err) : status;
}
