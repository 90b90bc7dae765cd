#include "couple.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FRAME_S 0.5
#define MOST_LINES 10
#define LEAST_MEAN 2.5     /* of a line's ratio in a frame, to be worth watching */
#define QUIETER 4.0        /* a line may be this much weaker than its mean (power) and still be there */
#define FROM_ENGINE_HZ 5.0 /* nearer to an engine order, a line could be the engine's */
#define MOST_NATS 2.5      /* of one line in one frame */
#define LEAST_TYPICAL 1.5  /* nats per frame, or the gears are too faint to judge by */
#define SWITCH 6.0         /* nats to part or to join */
#define SURE 9.0           /* nats a stretch must hold against the gears */

typedef struct watch {
    double orders[MOST_LINES], means[MOST_LINES]; /* on the path's axis; ratio expected in a frame */
    size_t count;
} watch;

static bool near_engine(const lay_track_gear *gear, double order, double hz_per_order) {
    for (size_t i = 0; i < gear->count; i++)
        if (gear->orders[i].engine && fabs(gear->orders[i].order - order) * hz_per_order < FROM_ENGINE_HZ) return true;
    return false;
}

static double highest(const lay_profile *p, double order) {
    size_t at = (size_t)(order / p->step + 0.5), reach = 3;
    double best = 0;
    for (size_t i = at > reach ? at - reach : 0; i <= at + reach && i < p->count; i++)
        best = fmax(best, (double)p->mean[i]);
    return best;
}

static void add(watch *w, double order, double mean) {
    size_t at = w->count < MOST_LINES ? w->count++ : MOST_LINES;
    if (at == MOST_LINES) { /* the weakest makes room */
        at = 0;
        for (size_t i = 1; i < MOST_LINES; i++)
            if (w->means[i] < w->means[at]) at = i;
        if (w->means[at] >= mean) return;
    }
    w->orders[at] = order;
    w->means[at] = mean;
}

/* The unit's lines, or only those of its gears. A steady tone stands over the noise the higher the longer the frame. */
static void choose(const lay_profile *p, double profile_s, const lay_track_gear *gear, const lay_answer *answer,
                   double mean_hz, bool gears_only, watch *w) {
    for (size_t i = 0; i < gear->count; i++) {
        const lay_track_order *o = &gear->orders[i];
        if (gears_only && (o->engine || near_engine(gear, o->order, mean_hz * answer->factor))) continue;
        double mean = 1 + (highest(p, o->order * answer->factor) - 1) * FRAME_S / profile_s;
        if (mean / QUIETER >= LEAST_MEAN) add(w, o->order * answer->factor, mean / QUIETER);
    }
}

/* "The lines are there" against "noise": a bin r is exponential about `mean` or about 1. */
static double frame_evidence(const lay_warp *warp, size_t frame, const watch *w) {
    double sum = 0;
    for (size_t i = 0; i < w->count; i++) {
        double r = lay_warp_ratio(warp, frame, w->orders[i]);
        if (r < 0) continue;
        double nats = r - r / w->means[i] - log(w->means[i]);
        sum += fmax(-MOST_NATS, fmin(MOST_NATS, nats));
    }
    return sum;
}

/* Best course through together (0) and apart (1), either way costing to change. */
static void follow(const double *evidence, size_t frames, bool *apart, uint8_t *from) {
    double now[2] = {0, -SWITCH};
    for (size_t f = 0; f < frames; f++) {
        double stay = now[0], go = now[1];
        from[2 * f] = go - SWITCH > stay;
        from[2 * f + 1] = !(stay - SWITCH > go);
        now[0] = fmax(stay, go - SWITCH) + evidence[f];
        now[1] = fmax(go, stay - SWITCH) - evidence[f];
    }
    uint8_t state = now[1] > now[0];
    for (size_t f = frames; f-- > 0;) {
        apart[f] = state;
        state = from[2 * f + state];
    }
}

/* Stretches without clear evidence are left together. */
static void keep_sure(const double *evidence, size_t frames, bool *apart) {
    for (size_t f = 0; f < frames;) {
        size_t end = f;
        double sum = 0;
        while (end < frames && apart[end]) sum -= evidence[end++];
        if (end > f && sum < SURE) memset(apart + f, 0, (end - f) * sizeof *apart);
        f = end + 1;
    }
}

/* Marks the frames in which the watched lines are gone; nothing where they are too faint throughout. */
static lay_status mark(const lay_warp *warp, const watch *w, bool *marked, lay_error *err) {
    double *evidence = lay_calloc(warp->frames + 1, sizeof *evidence), there = 0;
    uint8_t *from = lay_calloc(2 * warp->frames + 1, sizeof *from);
    bool *gone = lay_calloc(warp->frames + 1, sizeof *gone);
    size_t count = 0;
    lay_status status = LAY_OK;
    if (!evidence || !from || !gone) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    for (size_t f = 0; f < warp->frames; f++) evidence[f] = frame_evidence(warp, f, w);
    follow(evidence, warp->frames, gone, from);
    keep_sure(evidence, warp->frames, gone);
    for (size_t f = 0; f < warp->frames; f++) {
        if (gone[f]) continue;
        there += evidence[f];
        count++;
    }
    if (count * 3 > warp->frames && there > LEAST_TYPICAL * (double)count)
        for (size_t f = 0; f < warp->frames; f++) marked[f] = marked[f] || gone[f];
done:
    free(evidence);
    free(from);
    free(gone);
    return status;
}

void lay_apart_free(lay_apart *apart) {
    free(apart->frames);
    *apart = (lay_apart){.count = 0};
}

bool lay_apart_at(const lay_apart *apart, double t) {
    if (apart->count == 0) return false;
    double at = fmax(0, fmin(round((t - apart->first_s) / apart->hop_s), (double)apart->count - 1));
    return apart->frames[(size_t)at];
}

lay_status lay_couple_watch(const lay_chapter *chapter, const lay_shaft *path, const lay_profile *profile,
                            double profile_s, const lay_track_options *options, const lay_answer *answer,
                            lay_apart *out, lay_error *err) {
    const lay_track_gear *gear = &options->gears[answer->gear];
    watch unit = {.count = 0}, gears = {.count = 0};
    lay_warp warp = {.frames = 0};
    double low, mean, high, turns;
    *out = (lay_apart){.count = 0};
    lay_shaft_range(path, &low, &mean, &high, &turns);
    choose(profile, profile_s, gear, answer, mean, false, &unit);
    if (options->firing_order > 0) choose(profile, profile_s, gear, answer, mean, true, &gears);
    if (unit.count == 0) return LAY_OK;
    lay_status status = lay_warp_make(chapter, path, FRAME_S, &warp, err);
    if (status == LAY_OK) {
        *out = (lay_apart){lay_calloc(warp.frames + 1, sizeof *out->frames), warp.frames, warp.first_s, warp.hop_s};
        if (!out->frames) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    }
    if (status == LAY_OK) status = mark(&warp, &unit, out->frames, err);
    if (status == LAY_OK && gears.count > 0) status = mark(&warp, &gears, out->frames, err);
    if (status != LAY_OK) lay_apart_free(out);
    lay_warp_free(&warp);
    return status;
}
