#include <layshaft/speed.h>

#include "pulses.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Edges with hysteresis about the middle between the signal's own high and low. High and low come from the extremes of
 * 1/16 s blocks over the last three seconds, the outermost two left out, so that a spike or a fading pickup does not
 * set them. The first second is held back until levels are known; of the two polarities the one with steadier intervals
 * is kept. */

#define BLOCKS 48
#define WARM_UP 16
#define LEAST_SHARE 0.1     /* of the time with pulses: where less is a shaft's, that may be chance */
#define CHUNK_EDGES 16384.0 /* counted and thinned at a time: these and so many turns more */
#define CHUNK_TURNS 20.0

typedef struct edge_list {
    double *t;
    size_t count, capacity;
} edge_list;

struct lay_tach {
    lay_tach_options options;
    size_t block; /* samples */
    double *x;    /* WARM_UP blocks at first, later one */
    size_t held;
    int64_t start; /* absolute index of x[0] */
    double high[BLOCKS], low[BLOCKS];
    int blocks; /* seen */
    bool warm;
    bool above;  /* state of the comparator */
    bool known;  /* state is valid */
    double last; /* previous sample */
    edge_list rising, falling;
    int keep;       /* 0 undecided, +1 rising, -1 falling */
    size_t counted; /* edges of the kept list that are in `pulses` */
    lay_pulses pulses;
};

lay_status lay_tach_new(const lay_tach_options *options, lay_tach **out, lay_error *err) {
    *out = NULL;
    if (!(options->rate > 0) || !(options->pulses_per_rev > 0) || !(options->body_order > 0))
        return lay_fail(err, LAY_BAD_INPUT, "a tach needs pulses per turn above zero on a body that turns");
    lay_tach *tach = lay_calloc(1, sizeof *tach);
    if (!tach) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    tach->options = *options;
    tach->block = (size_t)fmax(16, options->rate / 16);
    tach->x = lay_calloc(WARM_UP * tach->block, sizeof *tach->x);
    if (!tach->x) {
        free(tach);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    }
    *out = tach;
    return LAY_OK;
}

void lay_tach_free(lay_tach *tach) {
    if (!tach) return;
    free(tach->x);
    free(tach->rising.t);
    free(tach->falling.t);
    lay_pulses_free(&tach->pulses);
    free(tach);
}

/* ---- levels ---- */

static void note_extremes(lay_tach *tach, const double *x, size_t n) {
    double high = -INFINITY, low = INFINITY;
    for (size_t i = 0; i < n; i++) {
        high = fmax(high, x[i]);
        low = fmin(low, x[i]);
    }
    if (!isfinite(high) || !isfinite(low)) return;
    tach->high[tach->blocks % BLOCKS] = high;
    tach->low[tach->blocks % BLOCKS] = low;
    tach->blocks++;
}

static void levels(const lay_tach *tach, double *middle, double *swing) {
    double sorted[BLOCKS];
    size_t n = (size_t)(tach->blocks < BLOCKS ? tach->blocks : BLOCKS);
    double q = n > 4 ? 2.0 / (double)(n - 1) : 0;
    memcpy(sorted, tach->high, n * sizeof *sorted);
    double high = lay_quantile(sorted, n, 1 - q);
    memcpy(sorted, tach->low, n * sizeof *sorted);
    double low = lay_quantile(sorted, n, q);
    *middle = 0.5 * (high + low);
    *swing = high - low;
}

/* ---- edges ---- */

static lay_status add_edge(edge_list *list, double t, lay_error *err) {
    lay_status status = lay_grow((void **)&list->t, &list->capacity, list->count, sizeof *list->t, err);
    if (status == LAY_OK) list->t[list->count++] = t;
    return status;
}

/* Crossing of the middle between two samples; hysteresis decides that there was an edge, the middle says when. */
typedef struct crossing {
    double time;
    bool valid;
} crossing;

static lay_status find_edges(lay_tach *tach, const double *x, size_t n, lay_error *err) {
    double middle, swing;
    levels(tach, &middle, &swing);
    if (!(swing > 0)) return LAY_OK;
    double band = 0.2 * swing;
    crossing up = {0, false}, down = {0, false};
    for (size_t i = 0; i < n; i++) {
        double value = isfinite(x[i]) ? x[i] : tach->last, last = tach->known ? tach->last : value;
        double at = (double)(tach->start + (int64_t)i);
        if (last < middle && value >= middle) up = (crossing){at - (value - middle) / (value - last), true};
        if (last >= middle && value < middle) down = (crossing){at - (value - middle) / (value - last), true};
        lay_status status = LAY_OK;
        if (!tach->above && value > middle + band) {
            if (tach->known && tach->keep >= 0)
                status = add_edge(&tach->rising, (up.valid ? up.time : at) / tach->options.rate, err);
            tach->above = true;
        } else if (tach->above && value < middle - band) {
            if (tach->known && tach->keep <= 0)
                status = add_edge(&tach->falling, (down.valid ? down.time : at) / tach->options.rate, err);
            tach->above = false;
        }
        if (status != LAY_OK) return status;
        tach->known = true;
        tach->last = value;
    }
    return LAY_OK;
}

/* Scatter of intervals about their neighbours': small for the edge that the pickup makes sharply. */
static double unsteadiness(const edge_list *list) {
    enum { MOST = 2000 };
    double d[MOST];
    size_t n = 0;
    for (size_t i = 2; i < list->count && n < MOST; i++)
        d[n++] = fabs(list->t[i] - 2 * list->t[i - 1] + list->t[i - 2]) / (list->t[i] - list->t[i - 2]);
    return n >= 2 ? lay_median(d, n) : INFINITY;
}

static void choose_polarity(lay_tach *tach) {
    if (tach->keep || tach->rising.count < 12 || tach->falling.count < 12) return;
    tach->keep = unsteadiness(&tach->falling) < 0.8 * unsteadiness(&tach->rising) ? -1 : 1;
}

/* Count the edges that have their neighbours (all of them when `last`) and keep only those the next ones need. */
static lay_status count_edges(lay_tach *tach, bool last, lay_error *err) {
    edge_list *list = tach->keep > 0 ? &tach->rising : &tach->falling;
    size_t ready = last ? list->count : list->count - LAY_PULSES_NEAR;
    lay_status status = lay_pulses_add(&tach->pulses, list->t, list->count, tach->counted, ready, err);
    if (status == LAY_OK) status = lay_pulses_screen(&tach->pulses, tach->options.pulses_per_rev, last, err);
    if (status == LAY_OK) status = lay_pulses_thin(&tach->pulses, tach->options.pulses_per_rev, err);
    if (status != LAY_OK) return status;
    size_t gone = ready > LAY_PULSES_NEAR ? ready - LAY_PULSES_NEAR : 0;
    memmove(list->t, list->t + gone, (list->count - gone) * sizeof *list->t);
    list->count -= gone;
    tach->counted = ready - gone;
    return LAY_OK;
}

static lay_status process(lay_tach *tach, lay_error *err) {
    lay_status status = find_edges(tach, tach->x, tach->held, err);
    tach->start += (int64_t)tach->held;
    tach->held = 0;
    if (tach->start > (int64_t)(8 * tach->options.rate)) choose_polarity(tach);
    const edge_list *list = tach->keep > 0 ? &tach->rising : &tach->falling;
    if (status == LAY_OK && tach->keep &&
        (double)list->count > CHUNK_EDGES + CHUNK_TURNS * tach->options.pulses_per_rev)
        status = count_edges(tach, false, err);
    return status;
}

lay_status lay_tach_feed(lay_tach *tach, const double *x, size_t stride, size_t count, lay_error *err) {
    for (size_t i = 0; i < count; i++) {
        tach->x[tach->held++] = x[i * stride];
        size_t full = tach->warm ? tach->block : WARM_UP * tach->block;
        if (!tach->warm && tach->held % tach->block == 0)
            note_extremes(tach, tach->x + tach->held - tach->block, tach->block);
        if (tach->held < full) continue;
        if (tach->warm) note_extremes(tach, tach->x, tach->held);
        tach->warm = true;
        lay_status status = process(tach, err);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}

/* ---- result ---- */

/* Share of the turns in which the speed changes as no shaft's can: by more than half within one turn. An engine that
 * doubles its speed within 0.4 s, the quickest there is (common practice, no source), changes by 0.2 a turn at 600 rpm
 * and less above. */
static double impossible_share(const lay_shaft *s) {
    double wrong = 0, all = 0;
    size_t segment = 1;
    for (size_t i = 1; i < s->count; i++) {
        if (segment < s->segment_count && s->segment_start[segment] == i) {
            segment++;
            continue;
        }
        double turns = s->turns[i] - s->turns[i - 1], change = fabs(log(s->hz[i] / s->hz[i - 1]));
        all += turns;
        if (change > 0.5 * fmax(1, turns)) wrong += turns;
    }
    return all > 0 ? wrong / all : 1;
}

/* Some pulses in a hundred are missing or extra on many a good tach and are mended safely; the rest is calibrated on
 * simulated tachs. */
static void rate_confidence(lay_shaft *s, const lay_pulses *p) {
    double pulses = (double)(p->kept + 1), mended = (p->missing + p->extra) / pulses;
    double doubtful = (double)p->doubtful / pulses;
    double low, mean, high, turns;
    lay_shaft_range(s, &low, &mean, &high, &turns);
    double good_s = mean > 0 ? turns / mean : 0, share = good_s / (good_s + p->condemned_s + 1e-9);
    s->confidence = 0.99 * exp(-pow(mended / 0.35, 3) - 4 * doubtful - 20 * impossible_share(s));
    if (share < LEAST_SHARE) s->confidence *= pow(share / LEAST_SHARE, 2);
    if (high > 20000.0 / 60 || mean < 20.0 / 60) s->confidence *= 0.3; /* no transmission turns like that */
}

lay_status lay_tach_finish(lay_tach *tach, lay_shaft *out, lay_error *err) {
    *out = (lay_shaft){.source = LAY_SPEED_TACH};
    double per_rev = tach->options.pulses_per_rev;
    lay_pulses *pulses = &tach->pulses;
    lay_status status = LAY_OK;
    if (tach->held > 0) {
        if (tach->blocks == 0) note_extremes(tach, tach->x, tach->held);
        status = process(tach, err);
    }
    if (status != LAY_OK) return status;
    if (!tach->keep) tach->keep = unsteadiness(&tach->falling) < 0.8 * unsteadiness(&tach->rising) ? -1 : 1;
    const edge_list *edges = tach->keep > 0 ? &tach->rising : &tach->falling;
    if (pulses->count + edges->count < 4)
        return lay_fail(err, LAY_BAD_INPUT, "fewer than four tach pulses: is this the tach channel?");
    status = count_edges(tach, true, err);
    lay_pulses_excuse_gaps(pulses, per_rev);
    if (status == LAY_OK) status = lay_pulses_fit(pulses, per_rev * tach->options.body_order, out, err);
    if (status != LAY_OK) return status;
    out->source = LAY_SPEED_TACH;
    out->missing_pulses = pulses->missing;
    out->extra_pulses = pulses->extra;
    rate_confidence(out, pulses);
    return LAY_OK;
}
