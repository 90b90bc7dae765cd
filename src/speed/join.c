#include "join.h"

#include "build.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SAME_SPEED 0.01      /* of two pieces' answers */
#define ABSENT 2.0           /* nats: an answer that a piece does not offer is that much worse than its worst */
#define GEAR_TEMPERATURE 1.3 /* gears at one speed differ by few lines, and these come and go by themselves */
#define SURE 0.5
#define UNREFINED_SD 0.003 /* relative, of a path that no phase could correct */
#define MOST_ANSWERS 64
#define SILENT 0.2   /* share of the usual evidence below which the lines are not heard */
#define SILENT_S 1.5 /* shorter silences are bridged */

typedef struct joined {
    const lay_piece *pieces;
    size_t count;
    double *ratio;  /* [count] path of this piece over the path of its chain's first */
    size_t *chain;  /* [count] first piece of the chain */
    double *factor; /* [count] chosen */
    double *sure;   /* [count] */
    bool any_sure;  /* then unsure pieces are left out */
} joined;

static double path_end(const lay_piece *p) {
    return p->path.time[p->path.count - 1];
}

/* Link each piece to the one before by the speeds in the middle of their overlap. */
static void link_pieces(joined *j) {
    for (size_t k = 0; k < j->count; k++) {
        j->ratio[k] = 1;
        j->chain[k] = k;
        if (k == 0 || j->pieces[k].path.count == 0 || j->pieces[k - 1].path.count == 0) continue;
        double t = 0.5 * (j->pieces[k].path.time[0] + path_end(&j->pieces[k - 1])), turns, before, after;
        if (!lay_shaft_at(&j->pieces[k - 1].path, t, NULL, &turns, &before) ||
            !lay_shaft_at(&j->pieces[k].path, t, NULL, &turns, &after))
            continue;
        j->chain[k] = j->chain[k - 1];
        j->ratio[k] = j->ratio[k - 1] * after / before;
    }
}

/* What a piece says of a factor of the chain's first path. */
static double evidence_of(const lay_piece *p, double ratio, const lay_answer *asked) {
    double worst = 0;
    for (size_t i = 0; i < p->scale.count; i++) {
        const lay_answer *a = &p->scale.answers[i];
        worst = fmin(worst, a->evidence);
        if (a->gear == asked->gear && fabs(log(a->factor * ratio / asked->factor)) < SAME_SPEED) return a->evidence;
    }
    return worst - ABSENT;
}

static size_t gather(const joined *j, size_t chain, lay_answer *all) {
    size_t n = 0;
    for (size_t k = chain; k < j->count; k++) {
        if (j->chain[k] != chain) continue;
        for (size_t i = 0; i < j->pieces[k].scale.count && n < MOST_ANSWERS; i++) {
            lay_answer a = j->pieces[k].scale.answers[i];
            a.factor *= j->ratio[k];
            bool known = false;
            for (size_t m = 0; m < n; m++)
                known = known || (all[m].gear == a.gear && fabs(log(all[m].factor / a.factor)) < SAME_SPEED);
            if (!known) all[n++] = a;
        }
    }
    for (size_t m = 0; m < n; m++) {
        all[m].evidence = 0;
        for (size_t k = chain; k < j->count; k++)
            if (j->chain[k] == chain && j->pieces[k].scale.count > 0)
                all[m].evidence += evidence_of(&j->pieces[k], j->ratio[k], &all[m]);
    }
    return n;
}

static int by_evidence(const void *a, const void *b) {
    double x = ((const lay_answer *)a)->evidence, y = ((const lay_answer *)b)->evidence;
    return (x < y) - (x > y);
}

/* The speed of an answer is what counts; answers of one speed in several gears share it. */
static bool same_speed(const lay_answer *a, const lay_answer *b) {
    return fabs(log(a->factor / b->factor)) < SAME_SPEED;
}

static void report_rival(const lay_answer *all, size_t n, lay_track_result *out) {
    for (size_t i = 1; i < n; i++) {
        if (same_speed(&all[i], &all[0])) continue;
        out->rival_ratio = all[i].factor / all[0].factor;
        out->rival_probability = all[i].probability;
        return;
    }
}

static void settle_chain(joined *j, size_t chain, lay_track_result *out) {
    lay_answer all[MOST_ANSWERS];
    size_t n = gather(j, chain, all);
    if (n == 0) return;
    qsort(all, n, sizeof *all, by_evidence);
    double sum = exp((j->pieces[chain].scale.none - all[0].evidence) / LAY_SCALE_TEMPERATURE), sure = 0;
    for (size_t i = 0; i < n; i++)
        sum += all[i].probability = exp((all[i].evidence - all[0].evidence) / LAY_SCALE_TEMPERATURE);
    for (size_t i = 0; i < n; i++) {
        all[i].probability /= sum;
        out->gear_probability[all[i].gear] += exp((all[i].evidence - all[0].evidence) / GEAR_TEMPERATURE);
        if (same_speed(&all[i], &all[0])) sure += all[i].probability;
    }
    report_rival(all, n, out);
    for (size_t k = chain; k < j->count; k++) {
        if (j->chain[k] != chain) continue;
        j->factor[k] = all[0].factor / j->ratio[k];
        j->sure[k] = sure;
    }
}

static bool counts(const joined *j, size_t k) {
    return j->pieces[k].path.count > 0 && j->factor[k] > 0 && (j->sure[k] >= SURE || !j->any_sure);
}

/* ---- knots ---- */

static bool heard(const lay_piece *p, double t) {
    if (p->frames == 0) return true;
    size_t reach = (size_t)ceil(0.5 * SILENT_S / p->hop_s);
    double at = (t - p->first_s) / p->hop_s;
    size_t middle = (size_t)fmax(0, fmin(round(at), (double)p->frames - 1));
    for (size_t i = middle > reach ? middle - reach : 0; i <= middle + reach && i < p->frames; i++)
        if (p->seen[i] >= SILENT) return true;
    return false;
}

static lay_status add_piece(const joined *j, size_t k, double from, double to, lay_shaft_builder *b, double *sd,
                            lay_error *err) {
    const lay_piece *p = &j->pieces[k];
    double before = b->shaft.count > 0 ? b->shaft.turns[b->shaft.count - 1] : 0;
    bool placed = false;
    lay_status status = LAY_OK;
    for (size_t i = 0; i < p->path.count && status == LAY_OK; i++) {
        double t = p->path.time[i], turns = p->path.turns[i] * j->factor[k], hz = p->path.hz[i] * j->factor[k];
        if (t < from || t > to) continue;
        if (!heard(p, t) || lay_apart_at(&p->apart, t)) {
            lay_shaft_break(b);
            continue;
        }
        size_t count = b->shaft.count;
        if (!placed) /* from the last knot to this one at this knot's speed */
            before += (count > 0 ? hz * (t - b->shaft.time[count - 1]) : 0) - turns;
        placed = true;
        status = lay_shaft_add(b, t, before + turns, hz, err);
        if (status == LAY_OK && b->shaft.count > count) sd[count] = p->path.sd ? p->path.sd[i] : UNREFINED_SD;
    }
    return status;
}

static lay_status build(const joined *j, lay_track_result *out, lay_error *err) {
    lay_shaft_builder b = {.broken = false};
    size_t knots = 0;
    for (size_t k = 0; k < j->count; k++) knots += j->pieces[k].path.count;
    double *sd = lay_calloc(knots + 1, sizeof *sd), from = -1;
    lay_status status = sd ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t k = 0; k < j->count && status == LAY_OK; k++) {
        const lay_piece *p = &j->pieces[k];
        if (!counts(j, k)) {
            lay_shaft_break(&b);
            continue;
        }
        bool linked = k + 1 < j->count && j->chain[k + 1] == j->chain[k];
        double to = linked ? 0.5 * (path_end(p) + j->pieces[k + 1].path.time[0]) : path_end(p);
        status = add_piece(j, k, from, to, &b, sd, err);
        if (!linked) lay_shaft_break(&b);
        from = to;
    }
    status = lay_shaft_build(&b, status, LAY_SPEED_SIGNAL, &out->shaft, err);
    if (status == LAY_OK)
        out->shaft.sd = sd;
    else
        free(sd);
    return status;
}

static void choose_gear(const joined *j, size_t gears, lay_track_result *out) {
    double sum = 0, weight = 0, sure = 0;
    for (size_t g = 0; g < gears; g++) {
        sum += out->gear_probability[g];
        if (out->gear_probability[g] > out->gear_probability[out->gear]) out->gear = g;
    }
    for (size_t g = 0; g < gears && sum > 0; g++) out->gear_probability[g] /= sum;
    for (size_t k = 0; k < j->count; k++) {
        if (!counts(j, k)) continue;
        double length = path_end(&j->pieces[k]) - j->pieces[k].path.time[0];
        weight += length;
        sure += length * j->sure[k];
    }
    out->shaft.confidence = weight > 0 ? sure / weight : 0;
}

lay_status lay_join_pieces(const lay_piece *pieces, size_t count, size_t gear_count, lay_track_result *out,
                           lay_error *err) {
    joined j = {.pieces = pieces, .count = count};
    *out = (lay_track_result){.gear = 0};
    out->gear_probability = lay_calloc(gear_count + 1, sizeof *out->gear_probability);
    j.ratio = lay_calloc(3 * count + 1, sizeof *j.ratio);
    j.chain = lay_calloc(count + 1, sizeof *j.chain);
    lay_status status = LAY_OK;
    if (!out->gear_probability || !j.ratio || !j.chain) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    j.factor = j.ratio + count;
    j.sure = j.factor + count;
    link_pieces(&j);
    for (size_t k = 0; k < count; k++)
        if (j.chain[k] == k) settle_chain(&j, k, out);
    for (size_t k = 0; k < count; k++) j.any_sure = j.any_sure || j.sure[k] >= SURE;
    status = build(&j, out, err);
    if (status == LAY_OK) choose_gear(&j, gear_count, out);
done:
    free(j.ratio);
    free(j.chain);
    if (status != LAY_OK) lay_track_result_free(out);
    return status;
}
