#include "comb.h"

#include "gain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST 4.0            /* nats of one order */
#define LEAST_HEARD 0.18    /* of the engine's orders; the rest only tells aliases apart later */
#define ENGINE_SILENT -1.0f /* what its orders add where it cannot be heard */
#define FIRST_BIN 3.0

static const double classes[] = {0.8, 0.5, 0.25, 0.1, 0.04};
#define CLASSES (sizeof classes / sizeof classes[0])

static size_t class_of(double heard) {
    size_t best = 0;
    for (size_t k = 1; k < CLASSES; k++)
        if (fabs(log(heard / classes[k])) < fabs(log(heard / classes[best]))) best = k;
    return best;
}

/* Where an order looks: for every candidate the bin of the spectrum, or `bins`, behind which stands the usual. */
typedef struct look {
    size_t class_;
    bool engine;
    size_t gear;
    uint16_t *bin; /* [grid.count] */
} look;

typedef struct comb {
    size_t count, bins; /* candidates; of a spectrum */
    look *looks;
    size_t look_count;
    uint16_t *all;   /* behind the looks */
    float *evidence; /* [CLASSES * (bins + 1)] of the frame */
    float gains[CLASSES * LAY_GAINS];
} comb;

static void close_comb(comb *c) {
    free(c->looks);
    free(c->all);
    free(c->evidence);
}

static void place_look(const lay_grid *grid, double bin_hz, size_t bins, double order, uint16_t *bin) {
    double at = order * grid->low_hz / bin_hz, factor = exp(grid->step);
    for (size_t k = 0; k < grid->count; k++, at *= factor)
        bin[k] = (uint16_t)(at + 0.5 >= FIRST_BIN && at + 0.5 < (double)bins ? at + 0.5 : (double)bins);
}

/* Engine orders are the same in every gear and count once. */
static lay_status open_comb(const lay_chirp *chirp, const lay_track_options *o, const lay_grid *grid, comb *c,
                            lay_error *err) {
    size_t most = 0;
    for (size_t g = 0; g < o->gear_count; g++) most += o->gears[g].count;
    *c = (comb){.count = grid->count, .bins = chirp->bins};
    c->looks = lay_calloc(most + 1, sizeof *c->looks);
    c->all = lay_calloc((most + 1) * grid->count, sizeof *c->all);
    c->evidence = lay_calloc(CLASSES * (chirp->bins + 1), sizeof *c->evidence);
    if (!c->looks || !c->all || !c->evidence)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t g = 0; g < o->gear_count; g++)
        for (size_t i = 0; i < o->gears[g].count; i++) {
            const lay_track_order *order = &o->gears[g].orders[i];
            if (order->engine && (g > 0 || order->heard < LEAST_HEARD)) continue;
            look *l = &c->looks[c->look_count];
            *l = (look){class_of(order->heard), order->engine, g, c->all + c->look_count++ * grid->count};
            place_look(grid, chirp->bin_hz, chirp->bins, order->order, l->bin);
        }
    for (size_t k = 0; k < CLASSES; k++) lay_gains_fill(classes[k], MOST, c->gains + k * LAY_GAINS);
    return LAY_OK;
}

/* Behind each class's bins stands their mean, for orders that fall outside the band and so say nothing. */
static void fill_evidence(comb *c, const float *ratio) {
    for (size_t k = 0; k < CLASSES; k++) {
        float *evidence = c->evidence + k * (c->bins + 1), sum = 0;
        const float *gains = c->gains + k * LAY_GAINS;
        for (size_t i = 0; i < c->bins; i++) sum += evidence[i] = lay_gain(gains, ratio[i]);
        evidence[c->bins] = sum / (float)c->bins;
    }
}

static void add_look(const comb *c, const look *l, float *row) {
    const float *evidence = c->evidence + l->class_ * (c->bins + 1);
    const uint16_t *bin = l->bin;
    for (size_t k = 0; k < c->count; k++) row[k] += evidence[bin[k]];
}

/* Each gear adds its own orders, the best of them is taken. */
static void score_frame(const comb *c, size_t gears, float *row, float *gear_row) {
    float *best = gear_row + c->count;
    for (size_t i = 0; i < c->look_count; i++)
        if (c->looks[i].engine) add_look(c, &c->looks[i], row);
    for (size_t k = 0; k < c->count; k++) row[k] = fmaxf(row[k], ENGINE_SILENT);
    for (size_t g = 0; g < gears; g++) {
        memset(gear_row, 0, c->count * sizeof *gear_row);
        for (size_t i = 0; i < c->look_count; i++)
            if (!c->looks[i].engine && c->looks[i].gear == g) add_look(c, &c->looks[i], gear_row);
        for (size_t k = 0; k < c->count; k++) best[k] = g == 0 ? gear_row[k] : fmaxf(best[k], gear_row[k]);
    }
    for (size_t k = 0; k < c->count; k++) row[k] += best[k];
}

lay_status lay_comb_score(const lay_chirp *chirp, const lay_track_options *options, const lay_grid *grid, float *score,
                          lay_error *err) {
    comb c = {.count = 0};
    float *gear_row = lay_calloc(2 * grid->count + 1, sizeof *gear_row);
    lay_status status = gear_row ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    if (status == LAY_OK) status = open_comb(chirp, options, grid, &c, err);
    for (size_t f = 0; f < chirp->frames && status == LAY_OK; f++) {
        fill_evidence(&c, chirp->ratio + f * chirp->bins);
        score_frame(&c, options->gear_count, score + f * grid->count, gear_row);
    }
    free(gear_row);
    close_comb(&c);
    return status;
}

/* ---- the path ---- */

static void step_on(const float *row, size_t count, double drift, double sd, const float *now, float *next,
                    uint16_t *from) {
    long centre = lround(drift), reach = (long)ceil(3 * sd) + 1;
    for (size_t c = 0; c < count; c++) {
        float best = -1e30f;
        from[c] = (uint16_t)c;
        for (long m = centre - reach; m <= centre + reach; m++) {
            long k = (long)c - m;
            if (k < 0 || k >= (long)count) continue;
            double off = ((double)m - drift) / sd;
            float value = now[k] - (float)(0.5 * off * off);
            if (value <= best) continue;
            best = value;
            from[c] = (uint16_t)k;
        }
        next[c] = best + row[c];
    }
}

lay_status lay_path_find(const float *score, size_t frames, size_t stride, size_t count, const double *drift, double sd,
                         size_t *path, double *sum, lay_error *err) {
    uint16_t *from = lay_calloc(frames * count + 1, sizeof *from);
    float *total = lay_calloc(2 * count + 1, sizeof *total);
    lay_status status = LAY_OK;
    if (!from || !total) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    float *now = total, *next = total + count;
    if (frames > 0) memcpy(now, score, count * sizeof *now);
    for (size_t f = 1; f < frames; f++) {
        step_on(score + f * stride, count, drift ? drift[f] : 0, sd, now, next, from + f * count);
        float *swap = now;
        now = next;
        next = swap;
    }
    size_t at = 0;
    for (size_t c = 1; c < count; c++)
        if (now[c] > now[at]) at = c;
    if (sum) *sum = (double)now[at];
    for (size_t f = frames; f-- > 0;) {
        path[f] = at;
        at = from[f * count + at];
    }
done:
    free(from);
    free(total);
    return status;
}
