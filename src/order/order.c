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
    return fmin(o->options.max_order, 0.5 * LAY_ORDER_FLAT_FINE * o->options.rate / o->seg_high);
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
    o->class_sum[c] += 1;
    o->class_hz[c] += mean;
    o->class_top[c] = fmin(o->class_top[c], top);
    start_segment(o);
}

static int level_for(const lay_order *o, double hz) {
    double wanted = o->options.max_order * hz, nyquist = 0.25 * o->options.rate * LAY_ORDER_FLAT;
    int l = 0;
    while (l + 1 < o->pyramid.levels && nyquist >= wanted) {
        l++;
        nyquist /= 2;
    }
    return l;
}

/* The same weights on every channel of interleaved frames; two channels, the usual case, side by side. */
static void weigh(const double *x, size_t channels, const double *weights, size_t taps, double *out) {
    if (channels == 2) {
        double a = 0, b = 0, c = 0, d = 0;
        for (size_t k = 0; k < taps; k += 2) {
            a += weights[k] * x[2 * k];
            b += weights[k] * x[2 * k + 1];
            c += weights[k + 1] * x[2 * k + 2];
            d += weights[k + 1] * x[2 * k + 3];
        }
        out[0] = a + c;
        out[1] = b + d;
        return;
    }
    for (size_t c = 0; c < channels; c++) {
        out[c] = 0;
        for (size_t k = 0; k < taps; k++) out[c] += weights[k] * x[k * channels + c];
    }
}

/* One angle sample of every channel; false when the signal does not yet reach that far. */
static bool sample(lay_order *o, double t, double hz) {
    int l = level_for(o, hz);
    const lay_level *level = &o->pyramid.level[l];
    double position = t * o->options.rate / (1 << l) - (double)level->first;
    bool fine = l == 0 && o->options.max_order * hz > 0.5 * LAY_ORDER_FLAT * o->options.rate;
    size_t half = fine ? LAY_ORDER_HALF_WIDTH_FINE : LAY_ORDER_HALF_WIDTH, channels = (size_t)o->options.channels;
    if (position + (double)half + 2 >= (double)level->held) return false;
    const lay_sinc *sinc = fine ? o->fine : o->sinc;
    double whole = floor(position);
    if (whole < (double)half || channels == 1 || channels > 4) {
        for (size_t c = 0; c < channels; c++)
            o->frame[c] = lay_sinc_at(sinc, level->x + c, level->held, channels, position, 1);
        return true;
    }
    lay_sinc_weights(sinc, position - whole, o->weights);
    weigh(level->x + ((size_t)whole + 1 - half) * channels, channels, o->weights, 2 * half, o->frame);
    return true;
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
        if (t >= end || !sample(o, t, hz)) return;
        lay_clock_advance(&o->clock);
        o->seg_low = fmin(o->seg_low, hz);
        o->seg_high = fmax(o->seg_high, hz);
        o->seg_sum += hz;
        o->seg_count++;
        if (lay_average_put(&o->angle, o->frame)) lay_order_take_segment(o);
    }
}

static void follow_hz(lay_order *o) {
    const lay_level *level = &o->pyramid.level[o->hz_level];
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
    lay_pyramid_forget(&o->pyramid, keep);
}

lay_status lay_order_feed(lay_order *o, const double *frames, size_t count, lay_error *err) {
    while (count > 0) {
        size_t n = count < CHUNK ? count : CHUNK;
        lay_status status = lay_pyramid_feed(&o->pyramid, frames, n, err);
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
