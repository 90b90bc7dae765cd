/* One part alone, and the recording without it. */
#include "neighbours.h"

#include <math.h>
#include <stdlib.h>

#define POLES 2
#define CLOSE 0.1    /* widths: one filter takes both of two orders of the part */
#define EDGE 0.15    /* of a band's width over which its filter falls, or twice that of its lower end */
#define EDGE_HZ 40.0 /* at least */

/* The recording read a second time, in step with what the filter delivers. */
typedef struct parting {
    lay_run_stream *again;
    size_t channels;
    double *rest;
    size_t room; /* frames */
    lay_alone_sink sink;
    void *user;
} parting;

static lay_status deliver(parting *p, const double *part, size_t frames, lay_error *err) {
    if (frames > p->room) {
        double *more = realloc(p->rest, frames * p->channels * sizeof *more);
        if (!more) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to part the recording");
        p->rest = more;
        p->room = frames;
    }
    size_t got = 0;
    lay_status status = lay_run_stream_read(p->again, p->rest, frames, &got, err);
    if (status != LAY_OK) return status;
    for (size_t i = 0; i < got * p->channels; i++) p->rest[i] -= part[i];
    return p->sink(part, p->rest, got, p->user, err);
}

static lay_status take_block(const lay_vk_block *block, void *user, lay_error *err) {
    return deliver(user, block->sum, block->frames, err);
}

/* ---- orders ---- */

static bool apart(const lay_vk_track *tracks, size_t count, double order, double least) {
    for (size_t i = 0; i < count; i++)
        if (fabs(tracks[i].order - order) < least) return false;
    return true;
}

/* Orders so close that one filter takes both are followed once. */
static size_t choose_tracks(const lay_alone_options *o, double width, lay_vk_track *tracks) {
    size_t n = 0;
    for (size_t i = 0; i < o->order_count && n < LAY_TRACKS_MAX; i++)
        if (apart(tracks, n, o->orders[i], CLOSE * width)) tracks[n++] = (lay_vk_track){o->orders[i], 0};
    return n;
}

static lay_status feed(const double *frames, size_t count, void *user, lay_error *err) {
    return lay_vk_feed(user, frames, count, err);
}

static lay_status part_orders(const lay_run_evidence *run, const lay_alone_options *o, lay_run_stream *stream,
                              parting *p, lay_error *err) {
    lay_vk_track tracks[LAY_TRACKS_MAX];
    double width = o->width > 0 ? o->width : lay_alone_width(run, o->orders, o->order_count);
    lay_vk_options options = {.rate = lay_run_stream_rate(stream),
                              .channels = lay_run_stream_channels(stream),
                              .tracks = tracks,
                              .poles = POLES,
                              .bandwidth = width,
                              .width = LAY_VK_ORDERS};
    options.summed = choose_tracks(o, width, tracks);
    options.track_count = lay_tracks_add_neighbours(run, width, tracks, options.summed);
    options.track_count = lay_tracks_add_known(run, width, tracks, options.summed, options.track_count);
    lay_vk *vk = NULL;
    lay_status status = lay_vk_new(&options, &run->shaft, take_block, p, &vk, err);
    if (status == LAY_OK) status = lay_run_stream_each(stream, feed, vk, err);
    if (status == LAY_OK) status = lay_vk_finish(vk, err);
    lay_vk_free(vk);
    return status;
}

/* ---- a band ---- */

static lay_status filter_all(lay_run_stream *stream, lay_fir *fir, parting *p, lay_error *err) {
    enum { FRAMES = 4096 };
    size_t channels = p->channels, got = FRAMES, delay = lay_fir_delay(fir), skip = delay;
    double *in = lay_calloc(FRAMES * channels, sizeof *in), *out = lay_calloc(FRAMES * channels, sizeof *out);
    lay_status status = in && out ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to filter the recording");
    size_t flush = delay; /* zeros after the end bring out what is still inside */
    while (status == LAY_OK && (got == FRAMES || flush > 0)) {
        size_t frames = FRAMES;
        if (got == FRAMES) {
            status = lay_run_stream_read(stream, in, FRAMES, &got, err);
            frames = got;
        } else {
            frames = flush < FRAMES ? flush : FRAMES;
            for (size_t i = 0; i < frames * channels; i++) in[i] = 0;
            flush -= frames;
        }
        if (status != LAY_OK || frames == 0) continue;
        lay_fir_run(fir, in, frames, out);
        size_t lost = skip < frames ? skip : frames;
        skip -= lost;
        if (frames > lost) status = deliver(p, out + lost * channels, frames - lost, err);
    }
    free(in);
    free(out);
    return status;
}

static lay_status part_band(const lay_alone_options *o, lay_run_stream *stream, parting *p, lay_error *err) {
    double rate = lay_run_stream_rate(stream),
           edge = fmax(EDGE_HZ, fmin(EDGE * (o->high_hz - o->low_hz), 2 * EDGE * o->low_hz));
    if (!(o->low_hz > 0) || !(o->high_hz > o->low_hz) || o->low_hz + edge >= 0.5 * rate)
        return lay_fail(err, LAY_BAD_INPUT, "the recording does not hold a band from %.0f to %.0f Hz", o->low_hz,
                        o->high_hz);
    lay_fir *fir = NULL;
    lay_status status = lay_fir_new_band(rate, o->low_hz, fmin(o->high_hz, 0.5 * rate), edge,
                                         lay_run_stream_channels(stream), &fir, err);
    if (status == LAY_OK) status = filter_all(stream, fir, p, err);
    lay_fir_free(fir);
    return status;
}

lay_status lay_run_alone(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                         const lay_run_evidence *run, const lay_alone_options *options, lay_alone_sink sink, void *user,
                         lay_error *err) {
    if (options->order_count && (!run->usable || run->shaft.count < 2))
        return lay_fail(err, LAY_BAD_INPUT, "the speed of this run is not known, so no order can be followed");
    lay_run_stream *stream = NULL;
    parting p = {.sink = sink, .user = user};
    lay_run_spec as_recorded = *spec; /* borrows all; each channel stays as loud as it is in the file */
    as_recorded.gain_count = 0;
    lay_status status = lay_run_stream_open(unit, &as_recorded, table_path, &stream, err);
    if (status == LAY_OK) status = lay_run_stream_open(unit, &as_recorded, table_path, &p.again, err);
    if (status == LAY_OK) {
        p.channels = (size_t)lay_run_stream_channels(stream);
        status =
            options->order_count ? part_orders(run, options, stream, &p, err) : part_band(options, stream, &p, err);
    }
    lay_run_stream_close(stream);
    lay_run_stream_close(p.again);
    free(p.rest);
    return status;
}
