/* Time-synchronous average: the signal over one turn of a body, mean over many turns (Braun 1975; McFadden 1987; both
 * from memory). */
#include "clock.h"
#include "reader.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_TURNS 4
#define CHUNK 4096 /* frames taken from the caller at a time */

/* One body on its way. */
typedef struct tsa_body {
    double order;
    size_t points, turns; /* of one turn; that are averaged */
    size_t record_turns;  /* of each part */
    lay_clock clock;
    double *sum, *record_sum; /* [channels][points], [records][channels][points] */
    double *power;            /* [channels] sum of squares */
    double *turn;             /* [channels][points] being filled */
    size_t filled, taken;     /* points of it; turns in the sums */
} tsa_body;

struct lay_tsa {
    lay_tsa_options options;
    const lay_shaft *shaft;
    lay_reader reader;
    tsa_body *bodies;
    double *frame;
    int64_t frames;
};

/* ---- setting up ---- */

static size_t longest_segment(const lay_shaft *s, double *from, double *to) {
    size_t best = 0;
    *from = *to = 0;
    for (size_t k = 0; k < s->segment_count; k++) {
        size_t first = s->segment_start[k];
        size_t last = (k + 1 < s->segment_count ? s->segment_start[k + 1] : s->count) - 1;
        if (last <= first || s->turns[last] - s->turns[first] <= *to - *from) continue;
        best = k;
        *from = s->turns[first];
        *to = s->turns[last];
    }
    return best;
}

static size_t whole_multiple(size_t turns, size_t of) {
    return of > 1 && turns >= of ? turns - turns % of : turns;
}

static lay_status too_few(double turns, lay_error *err) {
    return lay_fail(err, LAY_BAD_INPUT,
                    "only %.0f whole turns of a shaft without a break; its average needs at least %d: record longer",
                    fmax(turns, 0), LEAST_TURNS);
}

static lay_status plan_body(lay_tsa *tsa, size_t b, size_t segment, double from, double to, lay_error *err) {
    const lay_tsa_options *o = &tsa->options;
    tsa_body *body = &tsa->bodies[b];
    double order = o->bodies[b], least = LAY_READER_PER_ORDER * o->max_order / order;
    size_t whole = o->whole ? o->whole[b] : 1, channels = (size_t)o->channels;
    body->order = order;
    body->points = 64;
    while ((double)body->points < least) body->points *= 2;
    double turns = floor(to * order) - ceil(from * order);
    if (turns < LEAST_TURNS)
        return lay_fail(
            err, LAY_BAD_INPUT,
            "only %.0f whole turns of a shaft without a break; its average needs at least %d: record longer",
            fmax(turns, 0), LEAST_TURNS);
    body->turns = whole_multiple((size_t)turns, whole);
    body->record_turns = o->records ? whole_multiple(body->turns / o->records, whole) : 0;
    body->sum = lay_calloc(channels * body->points, sizeof *body->sum);
    body->record_sum = lay_calloc(o->records * channels * body->points + 1, sizeof *body->record_sum);
    body->turn = lay_calloc(channels * body->points, sizeof *body->turn);
    body->power = lay_calloc(channels, sizeof *body->power);
    if (!body->turn || !body->sum || !body->record_sum || !body->power)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the average turn");
    lay_clock_init_body(&body->clock, tsa->shaft, segment, order, body->points);
    return LAY_OK;
}

static lay_status check(const lay_tsa_options *o, const lay_shaft *shaft, lay_error *err) {
    if (!(o->rate > 0) || o->channels < 1 || !(o->max_order > 0) || o->body_count == 0)
        return lay_fail(err, LAY_BAD_INPUT, "no average turn: rate, channels, orders and bodies must be above zero");
    for (size_t b = 0; b < o->body_count; b++)
        if (!(o->bodies[b] > 0) || o->max_order / o->bodies[b] > 1e6)
            return lay_fail(err, LAY_BAD_INPUT, "no average turn: a body stands still in this gear");
    if (shaft->count < 2 || shaft->segment_count == 0)
        return lay_fail(err, LAY_BAD_INPUT, "no average turn: the speed is not known");
    return LAY_OK;
}

lay_status lay_tsa_new(const lay_tsa_options *options, const lay_shaft *shaft, lay_tsa **out, lay_error *err) {
    *out = NULL;
    lay_status status = check(options, shaft, err);
    if (status != LAY_OK) return status;
    lay_tsa *tsa = lay_calloc(1, sizeof *tsa);
    if (!tsa) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the average turn");
    double low, mean, high, turns, from, to;
    lay_shaft_range(shaft, &low, &mean, &high, &turns);
    tsa->options = *options;
    tsa->shaft = shaft;
    tsa->bodies = lay_calloc(options->body_count, sizeof *tsa->bodies);
    tsa->frame = lay_calloc((size_t)options->channels, sizeof *tsa->frame);
    if (!tsa->bodies || !tsa->frame) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the average turn");
    if (status == LAY_OK)
        status = lay_reader_init(&tsa->reader, options->rate, options->channels, options->max_order, low, err);
    size_t segment = longest_segment(shaft, &from, &to);
    for (size_t b = 0; b < options->body_count && status == LAY_OK; b++)
        status = plan_body(tsa, b, segment, from, to, err);
    if (status != LAY_OK) {
        lay_tsa_free(tsa);
        return status;
    }
    *out = tsa;
    return LAY_OK;
}

void lay_tsa_free(lay_tsa *tsa) {
    if (!tsa) return;
    for (size_t b = 0; tsa->bodies && b < tsa->options.body_count; b++) {
        free(tsa->bodies[b].turn);
        free(tsa->bodies[b].sum);
        free(tsa->bodies[b].record_sum);
        free(tsa->bodies[b].power);
    }
    free(tsa->bodies);
    free(tsa->frame);
    lay_reader_free(&tsa->reader);
    free(tsa);
}

/* ---- feeding ---- */

/* A whole turn goes into the sums; what was cut off never does. */
static void take_turn(const lay_tsa *tsa, tsa_body *body) {
    size_t channels = (size_t)tsa->options.channels, n = channels * body->points;
    size_t record = body->record_turns ? body->taken / body->record_turns : 0;
    bool recorded = body->record_turns && record < tsa->options.records;
    for (size_t i = 0; i < n; i++) {
        double x = body->turn[i];
        body->sum[i] += x;
        if (recorded) body->record_sum[record * n + i] += x;
        body->power[i / body->points] += x * x;
    }
    body->taken++;
    body->filled = 0;
}

static void put(const lay_tsa *tsa, tsa_body *body) {
    for (size_t c = 0; c < (size_t)tsa->options.channels; c++)
        body->turn[c * body->points + body->filled] = tsa->frame[c];
    if (++body->filled == body->points) take_turn(tsa, body);
}

/* Every sample of one body that the signal held so far allows. */
static void resample(lay_tsa *tsa, tsa_body *body) {
    double t, hz, end = (double)tsa->frames / tsa->options.rate;
    while (body->taken < body->turns && lay_clock_peek(&body->clock, &t, &hz)) {
        if (t >= end || !lay_reader_at(&tsa->reader, t, hz, tsa->frame)) return;
        lay_clock_advance(&body->clock);
        put(tsa, body);
    }
}

static void resample_all(lay_tsa *tsa) {
    double t, hz;
    int64_t keep = tsa->frames;
    for (size_t b = 0; b < tsa->options.body_count; b++) {
        tsa_body *body = &tsa->bodies[b];
        resample(tsa, body);
        if (body->taken == body->turns || !lay_clock_peek(&body->clock, &t, &hz)) continue;
        double at = floor(t * tsa->options.rate);
        if (at < (double)keep) keep = (int64_t)at;
    }
    lay_pyramid_forget(&tsa->reader.pyramid, keep);
}

lay_status lay_tsa_feed(lay_tsa *tsa, const double *frames, size_t count, lay_error *err) {
    while (count > 0) {
        size_t n = count < CHUNK ? count : CHUNK;
        lay_status status = lay_pyramid_feed(&tsa->reader.pyramid, frames, n, err);
        if (status != LAY_OK) return status;
        tsa->frames += (int64_t)n;
        resample_all(tsa);
        frames += n * (size_t)tsa->options.channels;
        count -= n;
    }
    return LAY_OK;
}

/* ---- results ---- */

/* Scales a sum to a mean and takes off what lies above the highest order wanted. */
static void mean_of(const double *sum, size_t turns, size_t points, size_t top, lay_fft *fft, double *pairs,
                    double *out) {
    for (size_t i = 0; i < points; i++) out[i] = sum[i] / (double)turns;
    lay_fft_forward(fft, out, pairs);
    for (size_t i = top + 1; i <= points / 2; i++) pairs[2 * i] = pairs[2 * i + 1] = 0;
    lay_fft_backward(fft, pairs, out);
}

static lay_status make_average(const lay_tsa *tsa, const tsa_body *body, lay_tsa_average *out, lay_error *err) {
    size_t channels = (size_t)tsa->options.channels, points = body->points, turns = body->taken;
    if (turns < LEAST_TURNS) return too_few((double)turns, err);
    size_t records = body->record_turns ? turns / body->record_turns : 0;
    if (records > tsa->options.records) records = tsa->options.records;
    *out = (lay_tsa_average){.order = body->order, .points = points, .channels = channels, .turns = (double)turns};
    out->max_order = fmin(tsa->options.max_order / body->order, (double)(points / 2 - 1));
    out->records = records >= 2 ? records : 0;
    out->record_turns = (double)body->record_turns;
    out->mean = lay_calloc(channels * points, sizeof(double));
    out->record = lay_calloc(records * channels * points + 1, sizeof(double));
    out->power = lay_calloc(channels, sizeof(double));
    double *pairs = lay_calloc(points + 2, sizeof *pairs);
    lay_fft *fft = NULL;
    lay_status status = lay_fft_new(points, &fft, err);
    if (!out->mean || !out->record || !out->power || !pairs)
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the average turn");
    for (size_t c = 0; c < channels && status == LAY_OK; c++) {
        mean_of(body->sum + c * points, turns, points, (size_t)out->max_order, fft, pairs, out->mean + c * points);
        out->power[c] = body->power[c] / (double)(turns * points);
    }
    for (size_t k = 0; k < out->records * channels && status == LAY_OK; k++)
        mean_of(body->record_sum + k * points, body->record_turns, points, (size_t)out->max_order, fft, pairs,
                out->record + k * points);
    lay_fft_free(fft);
    free(pairs);
    return status;
}

lay_status lay_tsa_finish(lay_tsa *tsa, lay_tsa_average *out, lay_error *err) {
    memset(out, 0, tsa->options.body_count * sizeof *out);
    lay_status status = lay_pyramid_finish(&tsa->reader.pyramid, err);
    if (status == LAY_OK) resample_all(tsa);
    for (size_t b = 0; b < tsa->options.body_count && status == LAY_OK; b++)
        status = make_average(tsa, &tsa->bodies[b], &out[b], err);
    for (size_t b = 0; b < tsa->options.body_count && status != LAY_OK; b++) lay_tsa_average_free(&out[b]);
    return status;
}

void lay_tsa_average_free(lay_tsa_average *average) {
    if (!average) return;
    free(average->mean);
    free(average->record);
    free(average->power);
    *average = (lay_tsa_average){0};
}
