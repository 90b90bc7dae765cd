#include "analyser.h"

#include <math.h>

#define CHUNK 4096 /* frames taken from the caller at a time */

static void start_segment(lay_order *o) {
    o->seg_low = 1e300;
    o->seg_high = o->seg_sum = 0;
    o->seg_count = 0;
}

/* Highest order that level 0 still holds flat at the segment's highest speed. */
static double top_order(const lay_order *o) {
    return fmin(o->options.max_order, 0.5 * LAY_READER_FLAT_FINE * o->options.rate / o->seg_high);
}

void lay_order_take_segment(lay_order *o) {
    size_t classes = (size_t)o->options.speed_classes;
    double top = top_order(o), mean = o->seg_sum / (double)o->seg_count;
    size_t bins = (size_t)(top * (double)o->turns) + 1;
    if (bins > o->angle.bins) bins = o->angle.bins;
    lay_average_take(&o->angle, bins);
    double span = o->max_hz - o->min_hz;
    size_t c = span > 0 ? (size_t)((mean - o->min_hz) / span * (double)classes) : 0;
    if (c >= classes) c = classes - 1;
    for (size_t i = 0; i < bins; i++) {
        o->map[c * o->angle.bins + i] += o->angle.one[i];
        o->map_weight[c * o->angle.bins + i] += 1;
    }
    if (o->options.sink)
        o->options.sink(&(lay_order_segment){mean, o->angle.one, bins, 1 / (double)o->turns, o->enbw}, o->options.user);
    o->class_sum[c] += 1;
    o->class_hz[c] += mean;
    o->class_top[c] = fmin(o->class_top[c], top);
    start_segment(o);
}

static void next_stretch(lay_order *o) {
    lay_average_restart(&o->angle);
    start_segment(o);
    lay_clock_next_segment(&o->clock);
}

void lay_order_resample(lay_order *o) {
    double t, hz, end = (double)o->frames / o->options.rate;
    while (!o->clock.ended) {
        if (!lay_clock_peek(&o->clock, &t, &hz)) {
            next_stretch(o);
            continue;
        }
        if (t >= end || !lay_reader_at(&o->reader, t, hz, o->frame)) return;
        lay_clock_advance(&o->clock);
        o->seg_low = fmin(o->seg_low, hz);
        o->seg_high = fmax(o->seg_high, hz);
        o->seg_sum += hz;
        o->seg_count++;
        if (lay_average_put(&o->angle, o->frame)) lay_order_take_segment(o);
    }
}

static void follow_hz(lay_order *o) {
    const lay_level *level = &o->reader.pyramid.level[o->hz_level];
    size_t channels = (size_t)o->options.channels;
    int64_t end = level->first + (int64_t)level->held;
    for (; o->hz_next < end; o->hz_next++)
        if (lay_average_put(&o->hz, level->x + (size_t)(o->hz_next - level->first) * channels))
            lay_average_take(&o->hz, o->hz.bins);
}

static void forget(lay_order *o) {
    double t, hz;
    int64_t keep = o->frames;
    if (!o->clock.ended && lay_clock_peek(&o->clock, &t, &hz)) {
        double at = floor(t * o->options.rate);
        if (at < (double)keep) keep = (int64_t)at;
    }
    int64_t hz_at = o->hz_next << o->hz_level;
    if (hz_at < keep) keep = hz_at;
    lay_pyramid_forget(&o->reader.pyramid, keep);
}

lay_status lay_order_feed(lay_order *o, const double *frames, size_t count, lay_error *err) {
    while (count > 0) {
        size_t n = count < CHUNK ? count : CHUNK;
        lay_status status = lay_pyramid_feed(&o->reader.pyramid, frames, n, err);
        if (status != LAY_OK) return status;
        o->frames += (int64_t)n;
        lay_order_resample(o);
        follow_hz(o);
        forget(o);
        frames += n * (size_t)o->options.channels;
        count -= n;
    }
    return LAY_OK;
}
