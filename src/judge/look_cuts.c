/* The orders of the suspects, and other loud ones, against speed. */
#include "look.h"

#include <math.h>
#include <stdlib.h>

#define SWEEPS 4      /* runs that are followed at most */
#define SWEEP 1.15    /* highest over lowest speed of a run worth following */
#define ORDERS 10     /* followed in one run */
#define LOUD_DB 8.0   /* tone-to-noise ratio of other lines worth following */
#define APART_BINS 6  /* least distance between two that are followed */
#define HEIGHT_DB 3.0 /* less over the floor counts as not measured */

/* ---- which runs ---- */

static bool sweeps(const lay_run_evidence *run) {
    return run->min_hz > 0 && run->max_hz / run->min_hz >= SWEEP;
}

static bool shows_suspect(const lay_looking *l, size_t run) {
    for (size_t s = 0; s < l->verdict->suspect_count; s++)
        if (lay_looking_part(l, s, run)) return true;
    return false;
}

/* The first suspect's best run before all, then runs of its gear, then the longer ones. */
static double worth(const lay_looking *l, size_t run) {
    const lay_run_evidence *r = &l->runs[run];
    int best = l->verdict->suspects[0].best_run;
    double value = r->revolutions / (r->revolutions + 1e4);
    if (best >= 0 && r->gear == l->runs[best].gear) value += 1;
    return (size_t)best == run ? value + 2 : value;
}

/* The sweep most worth following that is not chosen yet, of a load that has been chosen less than twice; run_count:
 * none. */
static size_t next_sweep(const lay_looking *l, const bool *chosen) {
    size_t at = l->run_count;
    for (size_t r = 0; r < l->run_count; r++) {
        int alike = 0;
        for (size_t k = 0; k < l->run_count; k++) alike += chosen[k] && l->runs[k].load == l->runs[r].load;
        if (chosen[r] || alike >= SWEEPS / 2 || !sweeps(&l->runs[r]) || !shows_suspect(l, r)) continue;
        if (at == l->run_count || worth(l, r) > worth(l, at)) at = r;
    }
    return at;
}

/* ---- which orders ---- */

typedef struct wanted {
    double order[ORDERS];
    lay_look_order of[ORDERS];
    size_t count;
} wanted;

static void want(const lay_run_evidence *run, wanted *w, double order, lay_look_order of) {
    const lay_order_spectrum *s = &run->spectrum;
    if (w->count == ORDERS || order < APART_BINS * s->step || order > (double)(s->bins - 1) * s->step) return;
    for (size_t i = 0; i < w->count; i++)
        if (fabs(w->order[i] - order) < APART_BINS * s->step) return;
    w->order[w->count] = order;
    w->of[w->count++] = of;
}

static const lay_line *loudest_below(const lay_run_evidence *run, double limit_db) {
    const lay_line *best = NULL;
    for (size_t i = 0; i < run->line_count; i++) {
        const lay_explained_line *e = &run->lines[i];
        if (e->line.tnr_db >= limit_db || e->line.tnr_db < LOUD_DB) continue;
        if (e->claim_count && e->claims[0].class_ == LAY_LINE_FIXED_HZ) continue;
        if (!best || e->line.tnr_db > best->tnr_db) best = &e->line;
    }
    return best;
}

static void choose_orders(const lay_looking *l, size_t run, bool others, wanted *w) {
    const lay_run_evidence *r = &l->runs[run];
    *w = (wanted){0};
    for (int h = 1; h <= LAY_LOOK_HARMONICS; h++)
        for (size_t s = 0; s < l->verdict->suspect_count; s++) {
            const lay_expected *e = lay_looking_part(l, s, run);
            if (e) want(r, w, h * e->order, (lay_look_order){(int)run, (int)s, h});
        }
    const lay_line *line = others ? loudest_below(r, INFINITY) : NULL;
    for (; line; line = loudest_below(r, line->tnr_db)) want(r, w, line->order, (lay_look_order){(int)run, -1, 0});
}

/* ---- taking them ---- */

/* Moves `count` cuts into the look; what they hold belongs to it from then on, also on failure. */
static lay_status take(lay_look *out, lay_cut *cuts, const lay_look_order *of, size_t count, lay_error *err) {
    lay_cut *all = realloc(out->cuts, (out->cut_count + count) * sizeof *all);
    if (all) out->cuts = all;
    lay_look_order *orders = all ? realloc(out->orders, (out->cut_count + count) * sizeof *orders) : NULL;
    if (!orders) {
        lay_cuts_free(cuts, count);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the order cuts");
    }
    out->orders = orders;
    for (size_t i = 0; i < count; i++) {
        out->cuts[out->cut_count] = cuts[i];
        out->orders[out->cut_count++] = of[i];
    }
    free(cuts);
    return LAY_OK;
}

typedef struct following {
    const lay_looking *l;
    size_t runs[SWEEPS], count;
    wanted wanted[SWEEPS];
    lay_cut *cuts[SWEEPS]; /* NULL: nothing to follow there */
} following;

static lay_status follow(size_t k, void *work, lay_error *err) {
    following *f = work;
    const lay_looking *l = f->l;
    size_t run = f->runs[k];
    wanted *w = &f->wanted[k];
    choose_orders(l, run, true, w);
    if (!w->count) return LAY_OK;
    lay_status status = lay_run_cuts(l->unit, &l->table->runs[run], l->table->path, &l->runs[run], w->order, w->count,
                                     0, &f->cuts[k], err);
    return status == LAY_BAD_INPUT ? LAY_OK : status; /* a run that cannot be followed costs no verdict */
}

static lay_status follow_sweeps(lay_looking *l, bool *chosen, lay_error *err) {
    following f = {.l = l};
    for (; f.count < SWEEPS; f.count++) {
        size_t run = next_sweep(l, chosen);
        if (run == l->run_count) break;
        chosen[run] = true;
        f.runs[f.count] = run;
    }
    lay_tasks tasks = {.count = f.count, .threads = l->threads, .run = follow, .work = &f};
    lay_status status = lay_run_tasks(&tasks, err);
    for (size_t k = 0; k < f.count; k++) {
        if (!f.cuts[k]) continue;
        if (status == LAY_OK)
            status = take(l->out, f.cuts[k], f.wanted[k].of, f.wanted[k].count, err);
        else
            lay_cuts_free(f.cuts[k], f.wanted[k].count);
    }
    return status;
}

/* A cut of one point, from the spectrum of a steady run. */
static lay_status point(const lay_run_evidence *run, double order, lay_cut *out, lay_error *err) {
    double *hz = lay_calloc(1, sizeof *hz), *power = lay_calloc(1, sizeof *power);
    double *floor = lay_calloc(1, sizeof *floor), *seconds = lay_calloc(1, sizeof *seconds);
    *out = (lay_cut){.order = order, .count = 1, .hz = hz, .power = power, .floor = floor, .seconds = seconds};
    if (!hz || !power || !floor || !seconds) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_tone tone;
    lay_tone_at(run, order, 0, &tone);
    size_t bin = (size_t)(order / run->spectrum.step + 0.5);
    hz[0] = run->mean_hz;
    floor[0] = bin < run->spectrum.bins ? run->spectrum.floor[bin] : 0;
    power[0] = tone.valid && tone.above_floor_db >= HEIGHT_DB ? tone.power + floor[0] : floor[0];
    seconds[0] = run->duration_s;
    return LAY_OK;
}

static lay_status measure_steady(lay_looking *l, size_t run, lay_error *err) {
    wanted w;
    choose_orders(l, run, false, &w);
    if (!w.count) return LAY_OK;
    lay_cut *cuts = lay_calloc(w.count, sizeof *cuts);
    if (!cuts) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = LAY_OK;
    for (size_t i = 0; i < w.count && status == LAY_OK; i++) status = point(&l->runs[run], w.order[i], &cuts[i], err);
    if (status == LAY_OK) return take(l->out, cuts, w.of, w.count, err);
    lay_cuts_free(cuts, w.count);
    return status;
}

lay_status lay_looking_cuts(lay_looking *l, lay_error *err) {
    bool *chosen = lay_calloc(l->run_count + 1, sizeof *chosen);
    if (!chosen) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = follow_sweeps(l, chosen, err);
    for (size_t r = 0; r < l->run_count && status == LAY_OK; r++)
        if (!sweeps(&l->runs[r])) status = measure_steady(l, r, err);
    free(chosen);
    return status;
}
