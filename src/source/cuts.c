/* Order cuts: the level of orders against speed, followed by a Vold-Kalman filter. */
#include "neighbours.h"
#include "tone.h"

#include <math.h>
#include <stdlib.h>

#define POLES 2
/* Equivalent noise bandwidth of two poles over the -3 dB bandwidth: (sqrt 2 - 1)^(-1/4) times the integral of
 * (1 + u^4)^-2 from 0 to infinity, 3 pi / (8 sqrt 2) (derived here). */
#define NOISE_WIDTH 1.0383
#define LENGTHS 2.0 /* filter lengths, 1 / bandwidth, in a step of speed */
#define STEPS_MAX 80
#define STEADY 1.05 /* highest over lowest speed of a run that has one step */

typedef struct cutting {
    const lay_run_evidence *run;
    lay_cut *cuts;
    size_t count, channels, steps;
    size_t tracks;  /* followed: the orders wanted, then their neighbours */
    double *weight; /* [steps] points of the envelopes */
    double last;    /* time of the last point */
    double length;  /* of the filter, turns */
    size_t segment; /* of the shaft, around the last point */
} cutting;

/* ---- gathering ---- */

static size_t step_of(const cutting *c, double hz) {
    double low = c->run->min_hz, high = c->run->max_hz;
    if (c->steps < 2) return 0;
    double at = (hz - low) / (high - low) * (double)c->steps;
    return at <= 0 ? 0 : at >= (double)c->steps ? c->steps - 1 : (size_t)at;
}

/* Near the ends of a stretch the envelope leans on one side only and takes up what else is there. */
static bool near_end(cutting *c, double time, double turns) {
    const lay_shaft *s = &c->run->shaft;
    while (c->segment + 1 < s->segment_count && time >= s->time[s->segment_start[c->segment + 1]]) c->segment++;
    size_t first = s->segment_start[c->segment];
    size_t last = (c->segment + 1 < s->segment_count ? s->segment_start[c->segment + 1] : s->count) - 1;
    return turns - s->turns[first] < c->length || s->turns[last] - turns < c->length;
}

static lay_status gather(const lay_vk_block *block, void *user, lay_error *err) {
    (void)err;
    cutting *c = user;
    size_t stride = c->tracks * c->channels * 2;
    for (size_t i = 0; i < block->points; i++) {
        size_t step = step_of(c, block->hz[i]);
        double passed = block->time[i] - c->last;
        c->last = block->time[i];
        if (near_end(c, block->time[i], block->turns[i])) continue;
        c->weight[step] += 1;
        for (size_t k = 0; k < c->count; k++) {
            const double *z = block->envelope + i * stride + k * c->channels * 2;
            double power = 0;
            for (size_t ch = 0; ch < 2 * c->channels; ch++) power += 0.5 * z[ch] * z[ch];
            c->cuts[k].power[step] += power;
            c->cuts[k].hz[step] += block->hz[i];
            c->cuts[k].seconds[step] += passed > 0 && passed < 1 ? passed : 0;
        }
    }
    return LAY_OK;
}

/* ---- finishing ---- */

/* Noise that is left in the filter at a speed: of the rows of the order map, the one nearest in speed. */
static double noise_at(const lay_run_evidence *run, double order, double hz, double width) {
    const lay_order_spectrum *s = &run->spectrum;
    size_t best = s->classes;
    for (size_t r = 0; r < s->classes; r++)
        if (s->class_segments[r] >= 1 && order < s->top_order[r] &&
            (best == s->classes || fabs(s->class_hz[r] - hz) < fabs(s->class_hz[best] - hz)))
            best = r;
    return best < s->classes ? lay_row_density(s, best, order) * width * NOISE_WIDTH : 0;
}

/* Means of the steps that hold enough; the others close up. Half the rate ends a cut. */
static void finish(cutting *c, double rate, double width) {
    double length = 1 / width / c->run->mean_hz;
    for (size_t k = 0; k < c->count; k++) {
        lay_cut *cut = &c->cuts[k];
        size_t kept = 0;
        for (size_t i = 0; i < c->steps; i++) {
            if (c->weight[i] == 0 || cut->seconds[i] < length) continue;
            double hz = cut->hz[i] / c->weight[i];
            if (cut->order * hz >= 0.45 * rate) continue;
            cut->hz[kept] = hz;
            cut->power[kept] = cut->power[i] / c->weight[i];
            cut->seconds[kept] = cut->seconds[i];
            cut->floor[kept++] = noise_at(c->run, cut->order, hz, width);
        }
        cut->count = kept;
    }
}

/* ---- setting up ---- */

static size_t steps_for(const lay_run_evidence *run, double width) {
    if (!(run->max_hz > STEADY * run->min_hz)) return 1;
    double steps = run->revolutions * width / LENGTHS;
    return steps < 1 ? 1 : steps > STEPS_MAX ? STEPS_MAX : (size_t)steps;
}

static lay_status make_cuts(cutting *c, const double *orders, lay_error *err) {
    bool all = true;
    c->cuts = lay_calloc(c->count, sizeof *c->cuts);
    c->weight = lay_calloc(c->steps, sizeof *c->weight);
    for (size_t k = 0; c->cuts && k < c->count; k++) {
        lay_cut *cut = &c->cuts[k];
        cut->order = orders[k];
        cut->hz = lay_calloc(c->steps, sizeof(double));
        cut->power = lay_calloc(c->steps, sizeof(double));
        cut->floor = lay_calloc(c->steps, sizeof(double));
        cut->seconds = lay_calloc(c->steps, sizeof(double));
        all &= cut->hz && cut->power && cut->floor && cut->seconds;
    }
    return c->cuts && c->weight && all ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory for order cuts");
}

static lay_status feed(const double *frames, size_t count, void *user, lay_error *err) {
    return lay_vk_feed(user, frames, count, err);
}

static lay_status follow(cutting *c, lay_run_stream *stream, double width, lay_error *err) {
    lay_vk_track tracks[LAY_TRACKS_MAX] = {0};
    for (size_t k = 0; k < c->count; k++) tracks[k].order = c->cuts[k].order;
    lay_vk_options options = {.rate = lay_run_stream_rate(stream),
                              .channels = (int)c->channels,
                              .tracks = tracks,
                              .poles = POLES,
                              .bandwidth = width,
                              .width = LAY_VK_ORDERS,
                              .envelopes_only = true};
    options.track_count = c->tracks = lay_tracks_add_neighbours(c->run, width, tracks, c->count);
    lay_vk *vk = NULL;
    lay_status status = lay_vk_new(&options, &c->run->shaft, gather, c, &vk, err);
    if (status == LAY_OK) status = lay_run_stream_each(stream, feed, vk, err);
    if (status == LAY_OK) status = lay_vk_finish(vk, err);
    lay_vk_free(vk);
    return status;
}

lay_status lay_run_cuts(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                        const lay_run_evidence *run, const double *orders, size_t count, size_t classes, lay_cut **out,
                        lay_error *err) {
    *out = NULL;
    if (!run->usable || run->shaft.count < 2)
        return lay_fail(err, LAY_BAD_INPUT, "the speed of this run is not known, so no order can be followed");
    if (count == 0 || count > LAY_TRACKS_MAX)
        return lay_fail(err, LAY_BAD_INPUT, "orders that can be followed at once: 1 to %d, not %zu", LAY_TRACKS_MAX,
                        count);
    lay_run_stream *stream = NULL;
    lay_status status = lay_run_stream_open(unit, spec, table_path, &stream, err);
    if (status != LAY_OK) return status;
    double width = lay_run_order_width(run);
    cutting c = {.run = run, .count = count, .channels = (size_t)lay_run_stream_channels(stream)};
    c.length = 1 / width;
    c.steps = classes ? classes : steps_for(run, width);
    status = make_cuts(&c, orders, err);
    if (status == LAY_OK) status = follow(&c, stream, width, err);
    if (status == LAY_OK) finish(&c, lay_run_stream_rate(stream), width);
    lay_run_stream_close(stream);
    free(c.weight);
    if (status == LAY_OK)
        *out = c.cuts;
    else
        lay_cuts_free(c.cuts, count);
    return status;
}

void lay_cuts_free(lay_cut *cuts, size_t count) {
    for (size_t i = 0; cuts && i < count; i++) {
        free(cuts[i].hz);
        free(cuts[i].power);
        free(cuts[i].floor);
        free(cuts[i].seconds);
    }
    free(cuts);
}
