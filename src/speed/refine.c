/* Speed from a stated value or range on the evidence of all orders together, after the multi-order probabilistic
 * approach (Leclere, Andre and Antoni, Mech. Syst. Signal Process. 81 (2016) 375; value from memory of that work):
 * spectra are scored at every candidate speed by what stands at all its orders, the best path through time is taken and
 * then locked to the lines it found.
 *
 * Two lengths of spectra: brief ones follow the speed, long ones lift weak steady lines out of the noise (stated value
 * only). Each order's evidence is limited, and the strongest order is not counted when the found path is compared with
 * its best rival: a single foreign tone can pose as any one order, not as two. */
#include <layshaft/speed.h>

#include "build.h"
#include "family.h"
#include "lock.h"
#include "ridge.h"
#include "scan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BRIEF_S 0.5
#define BRIEF_RANGE_S 0.12
#define LONG_FACTOR 8
#define LONG_WEIGHT 1.0 /* of a long spectrum's score beside a brief one's */
#define STEP 2e-4       /* between candidates, relative, about a stated value */
#define RANGE_STEP 1e-3
#define MOST_CANDIDATES 4000
#define APART 4e-3          /* a path this far away is a rival, not the same speed */
#define APART_RANGE 3e-2    /* brief spectra of a run-up part speeds less finely */
#define LEADING_WEIGHT 0.05 /* orders from the first lighter one on only confirm */
#define STATED_SD 0.03      /* what stated values are usually off by */
#define STATED_PULL 0.02    /* how much that weighs per frame, of the sum of weights */
#define FASTEST 0.02        /* largest relative change per second: steady run, range */
#define FASTEST_RANGE 0.5
#define BEND 2e-3 /* usual second derivative of log speed, 1/s^2 */
#define BEND_RANGE 3e-2

struct lay_refine {
    lay_refine_options options;
    double *orders, *weights;
    lay_candidates candidates;
    lay_scan brief, steady;
    bool range; /* no long spectra */
    int64_t fed;
};

static size_t power_of_two(double least) {
    size_t n = 256;
    while ((double)n < least && n < (1u << 20)) n *= 2;
    return n;
}

static double *copy(const double *x, size_t n) {
    double *out = lay_calloc(n + 1, sizeof *out);
    if (out && n) memcpy(out, x, n * sizeof *out);
    return out;
}

static lay_status prepare(lay_refine *r, lay_error *err) {
    const lay_refine_options *o = &r->options;
    r->orders = copy(o->orders, o->order_count);
    r->weights = copy(o->weights, o->order_count);
    if (!r->orders || !r->weights) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    double low = o->stated_low_hz * (1 - o->search), high = o->stated_high_hz * (1 + o->search);
    r->range = o->stated_high_hz > o->stated_low_hz * 1.02;
    double step = fmax(r->range ? RANGE_STEP : STEP, log(high / low) / (MOST_CANDIDATES - 2));
    r->candidates = (lay_candidates){low, step, (size_t)ceil(log(high / low) / step) + 1, r->orders, r->weights, 0};
    while (r->candidates.order_count < o->order_count && r->weights[r->candidates.order_count] >= LEADING_WEIGHT)
        r->candidates.order_count++;
    size_t n = power_of_two(o->rate * (r->range ? BRIEF_RANGE_S : BRIEF_S));
    lay_status status = lay_scan_init(&r->brief, o->rate, n, &r->candidates, err);
    if (status == LAY_OK && !r->range)
        status = lay_scan_init(&r->steady, o->rate, n * LONG_FACTOR, &r->candidates, err);
    return status;
}

lay_status lay_refine_new(const lay_refine_options *options, lay_refine **out, lay_error *err) {
    *out = NULL;
    bool range = options->stated_low_hz > 0 && options->stated_high_hz >= options->stated_low_hz &&
                 isfinite(options->stated_high_hz);
    if (!(options->rate > 0 && options->rate < 1e9) || !range || !(options->search > 0 && options->search < 0.9))
        return lay_fail(err, LAY_BAD_INPUT, "the stated rpm must be above zero, the lower end first");
    lay_refine *r = lay_calloc(1, sizeof *r);
    if (!r) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    r->options = *options;
    lay_status status = prepare(r, err);
    if (status != LAY_OK) {
        lay_refine_free(r);
        return status;
    }
    *out = r;
    return LAY_OK;
}

void lay_refine_free(lay_refine *r) {
    if (!r) return;
    free(r->orders);
    free(r->weights);
    lay_scan_free(&r->brief);
    lay_scan_free(&r->steady);
    free(r);
}

lay_status lay_refine_feed(lay_refine *r, const double *x, size_t stride, size_t count, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < count && status == LAY_OK; i++) {
        status = lay_scan_put(&r->brief, &r->candidates, x[i * stride], err);
        if (status == LAY_OK && !r->range) status = lay_scan_put(&r->steady, &r->candidates, x[i * stride], err);
        r->fed++;
    }
    return status;
}

/* ---- the table ---- */

/* Both scans in one table per brief frame: `value` guides the path, `proof` (without the strongest order) convinces. */
typedef struct evidence {
    float *value, *proof;
    size_t *path, *rival;
} evidence;

static void free_evidence(evidence *e) {
    free(e->value);
    free(e->proof);
    free(e->path);
    free(e->rival);
}

static lay_status allocate_evidence(const lay_refine *r, evidence *e, lay_error *err) {
    size_t cells = r->brief.frames * r->candidates.count;
    *e = (evidence){lay_calloc(cells, sizeof(float)), lay_calloc(cells, sizeof(float)),
                    lay_calloc(r->brief.frames, sizeof(size_t)), lay_calloc(r->brief.frames, sizeof(size_t))};
    if (e->value && e->proof && e->path && e->rival) return LAY_OK;
    free_evidence(e);
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
}

/* The two long frames about a time and the share of the second. */
static void long_rows(const lay_refine *r, double time, const lay_score **a, const lay_score **b, float *share) {
    const lay_scan *s = &r->steady;
    double hop = (double)(s->hop * s->every) / s->rate, at = (time - lay_scan_time(s, 0)) / hop;
    at = fmax(0, fmin(at, (double)s->frames - 1));
    size_t i = (size_t)at, j = i + 1 < s->frames ? i + 1 : i;
    *a = s->score + i * r->candidates.count;
    *b = s->score + j * r->candidates.count;
    *share = (float)(at - (double)i);
}

static void fill_row(const lay_refine *r, size_t frame, double pull, float *value, float *proof) {
    size_t count = r->candidates.count;
    const lay_score *row = r->brief.score + frame * count, *a = NULL, *b = NULL;
    const float weight = (float)LONG_WEIGHT;
    float share = 0;
    if (r->steady.frames > 0) long_rows(r, lay_scan_time(&r->brief, (double)frame), &a, &b, &share);
    for (size_t c = 0; c < count; c++) {
        float sum = row[c].sum, best = row[c].best;
        if (a) {
            sum += weight * ((1 - share) * a[c].sum + share * b[c].sum);
            best += weight * ((1 - share) * a[c].best + share * b[c].best);
        }
        double off = log(r->candidates.low_hz / r->options.stated_low_hz) + (double)c * r->candidates.step;
        float prior = r->range ? 0 : (float)(pull * (off / STATED_SD) * (off / STATED_SD));
        value[c] = sum - 0.5f * best - prior;
        proof[c] = sum - best - prior;
    }
}

/* How sure the path is. Its lead over the best rival, which was sought just as hard, must be large beside the lead over
 * what stands at arbitrary speeds (else the rival is as good), and large as such (else both are noise). The two places
 * were set on simulated and open recordings: without lines the lead stays below 0.2 per unit of weight and frame, with
 * lines of the unit it passes 0.4; paths led astray by foreign lines had up to 0.35 of the whole lead, right ones
 * mostly above. */
static double certainty(const lay_refine *r, const evidence *e, double total_weight) {
    enum { SHIFTS = 60 };
    size_t frames = r->brief.frames, count = r->candidates.count;
    double chance[SHIFTS];
    for (size_t s = 0; s < SHIFTS; s++)
        chance[s] = lay_ridge_sum(e->proof, frames, count, e->path, (s + 1) * count / (SHIFTS + 2));
    double own = lay_ridge_sum(e->proof, frames, count, e->path, 0);
    double lead = own - lay_ridge_sum(e->proof, frames, count, e->rival, 0);
    double whole = own - lay_median(chance, SHIFTS);
    if (!(lead > 0 && whole > 0 && total_weight > 0)) return 0;
    double height = lead / ((double)frames * total_weight);
    return 0.99 * lay_logistic(8 * log(height / 0.35)) * lay_logistic(20 * (lead / whole - 0.37));
}

static lay_status search(const lay_refine *r, evidence *e, double *found, lay_error *err) {
    size_t frames = r->brief.frames, count = r->candidates.count;
    double total = 0, hop = (double)(r->brief.hop * r->brief.every) / r->options.rate;
    for (size_t k = 0; k < r->candidates.order_count; k++) total += r->candidates.weights[k];
    for (size_t f = 0; f < frames; f++) fill_row(r, f, STATED_PULL * total, e->value + f * count, e->proof + f * count);
    size_t reach = (size_t)ceil((r->range ? FASTEST_RANGE : FASTEST) * hop / r->candidates.step);
    size_t clear = (size_t)ceil((r->range ? APART_RANGE : APART) / r->candidates.step);
    double price = (r->range ? 0.05 : 0.2) * total / (double)reach;
    lay_status status = lay_ridge_find(e->value, frames, count, reach, price, NULL, 0, e->path, err);
    if (status == LAY_OK) status = lay_ridge_find(e->value, frames, count, reach, price, e->path, clear, e->rival, err);
    if (status == LAY_OK) *found = certainty(r, e, total);
    return status;
}

/* ---- the result ---- */

static lay_status keep_stated(const lay_refine *r, lay_shaft *out, lay_error *err) {
    double hz = sqrt(r->options.stated_low_hz * r->options.stated_high_hz);
    lay_status status = lay_shaft_constant(hz, (double)r->fed / r->options.rate, out, err);
    if (status == LAY_OK) out->confidence = r->range ? 0.02 : 0.25;
    return status;
}

/* Knots at the frames, and at both ends of the recording with the nearest frame's speed. */
static lay_status make_shaft(const lay_refine *r, const double *log_hz, lay_shaft *out, lay_error *err) {
    lay_shaft_builder b = {0};
    size_t frames = r->brief.frames;
    double duration = (double)r->fed / r->options.rate, last = 0, hz = exp(log_hz[0]), turns = 0;
    lay_status status = lay_shaft_add(&b, 0, 0, hz, err);
    for (size_t f = 0; f < frames && status == LAY_OK; f++) {
        double t = lay_scan_time(&r->brief, (double)f), next = exp(log_hz[f]);
        turns += 0.5 * (hz + next) * (t - last);
        status = lay_shaft_add(&b, t, turns, next, err);
        hz = next;
        last = t;
    }
    if (status == LAY_OK && duration > last)
        status = lay_shaft_add(&b, duration, turns + hz * (duration - last), hz, err);
    return lay_shaft_build(&b, status, r->range ? LAY_SPEED_SIGNAL : LAY_SPEED_STATED, out, err);
}

static lay_status follow(const lay_refine *r, const double *log_hz, double found, lay_shaft *out, lay_error *err) {
    double low, mean, high, turns;
    lay_status status = make_shaft(r, log_hz, out, err);
    if (status != LAY_OK) return status;
    out->confidence = found;
    lay_shaft_range(out, &low, &mean, &high, &turns);
    if (!r->range) out->correction = mean / r->options.stated_low_hz - 1;
    return LAY_OK;
}

static lay_status sharpen(const lay_refine *r, const size_t *path, double *log_hz, lay_error *err) {
    for (size_t f = 0; f < r->brief.frames; f++)
        log_hz[f] = log(r->candidates.low_hz) + (double)path[f] * r->candidates.step;
    return lay_lock(&r->brief, r->range ? NULL : &r->steady, &r->candidates, r->range ? BEND_RANGE : BEND, log_hz, err);
}

/* Second chance of a stated speed that the path left unsure: lines that belong together. Brief spectra would not part
 * them from their sidebands, so the long ones alone give the speed. */
static lay_status try_family(const lay_refine *r, double *log_hz, double *found, lay_error *err) {
    const lay_scan *s = &r->steady;
    double *steps = lay_calloc(s->frames + 1, sizeof *steps), hop = (double)(s->hop * s->every) / s->rate;
    size_t length = r->fed < (int64_t)s->n ? (size_t)r->fed : s->n;
    if (!steps) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_candidates all = r->candidates;
    all.order_count = r->options.order_count;
    lay_status status = lay_family_find(s, length, &all, steps, found, err);
    for (size_t f = 0; f < r->brief.frames && s->frames > 0; f++) {
        double at = (lay_scan_time(&r->brief, (double)f) - lay_scan_time(s, 0)) / hop;
        at = fmax(0, fmin(at, (double)s->frames - 1));
        size_t i = (size_t)at, j = i + 1 < s->frames ? i + 1 : i;
        log_hz[f] = steps[i] + (at - (double)i) * (steps[j] - steps[i]);
    }
    free(steps);
    return status;
}

static lay_status find_speed(const lay_refine *r, evidence *e, lay_shaft *out, lay_error *err) {
    double found = 0, *log_hz = lay_calloc(r->brief.frames, sizeof *log_hz);
    if (!log_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = search(r, e, &found, err);
    if (status == LAY_OK)
        status = r->range || found >= 0.5 ? sharpen(r, e->path, log_hz, err) : try_family(r, log_hz, &found, err);
    if (status == LAY_OK)
        status = !r->range && found < 0.5 ? keep_stated(r, out, err) : follow(r, log_hz, found, out, err);
    free(log_hz);
    return status;
}

lay_status lay_refine_finish(lay_refine *r, lay_shaft *out, lay_error *err) {
    *out = (lay_shaft){.source = LAY_SPEED_STATED};
    lay_status status = lay_scan_finish(&r->brief, &r->candidates, err);
    if (status == LAY_OK && !r->range) status = lay_scan_finish(&r->steady, &r->candidates, err);
    if (status != LAY_OK) return status;
    if (r->brief.frames < 2 || r->candidates.order_count == 0) return keep_stated(r, out, err);
    evidence e;
    status = allocate_evidence(r, &e, err);
    if (status != LAY_OK) return status;
    status = find_speed(r, &e, out, err);
    free_evidence(&e);
    return status;
}
