#include <layshaft/order.h>

#include "accumulate.h"
#include "clock.h"
#include "pyramid.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Order spectrum by angular resampling (Fyfe and Munck, MSSP 11 (1997) 187: interpolation after a proper low-pass).
 *
 * Samples are taken at even angles from the level of the pyramid that just holds the highest wanted order at the speed
 * of the moment. With level Nyquist N between max_order * hz / FLAT and twice that, and images gone above 1.2 N, a rate
 * of PER_ORDER * max_order samples per turn folds nothing below max_order: PER_ORDER > 1 + 2 * 1.2 / 0.8 would be
 * needed in the worst case for the very last image; the interpolator's own roll-off above N leaves 1 + 2 / FLAT. */

#define FLAT 0.78 /* part of a level's Nyquist band that interpolates flat and clean */
#define PER_ORDER 3.7
#define HALF_WIDTH 16
#define FLAT_FINE 0.93 /* the same where the recording's own rate is the limit, with the longer kernel */
#define HALF_WIDTH_FINE 48
#define KAISER_BETA 9.0
#define CHUNK 4096 /* frames taken from the caller at a time */
#define LEAST_TURNS 8

struct lay_order {
    lay_order_options options;
    const lay_shaft *shaft;
    lay_sinc *sinc, *fine;
    double weights[2 * HALF_WIDTH_FINE];
    lay_pyramid pyramid;
    lay_clock clock;
    lay_average angle, hz;
    bool hz_on;
    int hz_level;
    int64_t hz_next;                   /* next frame of hz_level to hand to the Hz spectrum */
    int64_t frames;                    /* fed so far */
    double *frame;                     /* [channels] one angle sample */
    double seg_low, seg_high, seg_sum; /* speed over the segment being filled */
    size_t seg_count;
    size_t per_turn, turns; /* of a segment */
    double min_hz, max_hz, mean_hz, revolutions;
    double *map, *map_weight, *class_sum, *class_hz, *class_top;
};

/* ---- set-up ---- */

/* Smallest number >= n with no prime factor above 7: FFTW is quick there. */
static size_t smooth_size(size_t n) {
    for (;; n++) {
        size_t m = n;
        for (size_t p = 2; p <= 7; p++)
            while (m % p == 0) m /= p;
        if (m == 1) return n;
    }
}

static double longest_stretch(const lay_shaft *shaft) {
    double most = 0;
    for (size_t s = 0; s < shaft->segment_count; s++) {
        size_t first = shaft->segment_start[s];
        size_t last = (s + 1 < shaft->segment_count ? shaft->segment_start[s + 1] : shaft->count) - 1;
        if (last > first) most = fmax(most, shaft->turns[last] - shaft->turns[first]);
    }
    return most;
}

static lay_status choose_segment(lay_order *o, lay_error *err) {
    double turns = fmax(LEAST_TURNS, round(1 / o->options.resolution)), have = longest_stretch(o->shaft);
    while (turns > LEAST_TURNS && have < turns * 1.02) turns = fmax(LEAST_TURNS, floor(turns / 2));
    if (have < turns * 1.02)
        return lay_fail(err, LAY_BAD_INPUT,
                        "only %.1f turns of the reference shaft without a break; at least %d are needed: record longer",
                        have, LEAST_TURNS + 1);
    o->turns = (size_t)turns;
    o->per_turn = smooth_size((size_t)ceil(PER_ORDER * o->options.max_order));
    return LAY_OK;
}

static lay_status make_rows(lay_order *o, lay_error *err) {
    size_t classes = (size_t)o->options.speed_classes;
    o->map = lay_calloc(classes * o->angle.bins, sizeof *o->map);
    o->map_weight = lay_calloc(classes * o->angle.bins, sizeof *o->map_weight);
    o->class_sum = lay_calloc(classes, sizeof *o->class_sum);
    o->class_hz = lay_calloc(classes, sizeof *o->class_hz);
    o->class_top = lay_calloc(classes, sizeof *o->class_top);
    o->frame = lay_calloc((size_t)o->options.channels, sizeof *o->frame);
    if (!o->map || !o->map_weight || !o->class_sum || !o->class_hz || !o->class_top || !o->frame)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the order map");
    for (size_t c = 0; c < classes; c++) o->class_top[c] = o->options.max_order;
    return LAY_OK;
}

static lay_status make_spectra(lay_order *o, lay_error *err) {
    const lay_order_options *p = &o->options;
    size_t n = o->turns * o->per_turn, hop = (size_t)((double)n * (1 - p->overlap));
    size_t bins = (size_t)(p->max_order * (double)o->turns) + 1;
    lay_status status = lay_average_init(&o->angle, n, hop ? hop : 1, bins, (size_t)p->channels, p->window, err);
    if (status != LAY_OK) return status;
    o->hz_level = p->rate > 30000 ? 1 : 0;
    double rate = p->rate / (1 << o->hz_level);
    size_t m = 4096;
    double frames = o->shaft->time[o->shaft->count - 1] * rate;
    while ((double)m < rate * 1.3 && m < 65536 && (double)m * 3 <= frames) m *= 2;
    size_t kept = o->hz_level ? (size_t)(0.4 * (double)m) : m / 2 + 1;
    status = lay_average_init(&o->hz, m, m / 2, kept, (size_t)p->channels, LAY_WINDOW_HANN, err);
    o->hz_on = status == LAY_OK;
    return status == LAY_OK ? make_rows(o, err) : status;
}

static int levels_needed(const lay_order *o) {
    int levels = 2;
    double slowest = fmax(o->min_hz, 1e-3);
    while (levels < LAY_PYRAMID_LEVELS && o->options.rate / (1 << levels) * 0.5 * FLAT > o->options.max_order * slowest)
        levels++;
    return levels;
}

static lay_status check_options(const lay_order_options *o, lay_error *err) {
    if (!(o->rate > 0) || o->channels < 1 || !(o->max_order >= 1) || !(o->resolution > 0) ||
        !(o->overlap >= 0 && o->overlap < 0.95) || o->speed_classes < 1)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the analysis cannot be set up: rate, channels, orders and resolution must be above zero");
    return LAY_OK;
}

lay_status lay_order_new(const lay_order_options *options, const lay_shaft *shaft, lay_order **out, lay_error *err) {
    *out = NULL;
    lay_status status = check_options(options, err);
    if (status != LAY_OK) return status;
    lay_order *o = lay_calloc(1, sizeof *o);
    if (!o) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    o->options = *options;
    o->shaft = shaft;
    lay_shaft_range(shaft, &o->min_hz, &o->mean_hz, &o->max_hz, &o->revolutions);
    if (shaft->count < 2 || !(o->max_hz > 0))
        status = lay_fail(err, LAY_BAD_INPUT, "the shaft does not turn in this recording");
    if (status == LAY_OK) status = choose_segment(o, err);
    if (status == LAY_OK) status = lay_sinc_new(HALF_WIDTH, KAISER_BETA, &o->sinc, err);
    if (status == LAY_OK) status = lay_sinc_new(HALF_WIDTH_FINE, KAISER_BETA, &o->fine, err);
    if (status == LAY_OK) status = lay_pyramid_init(&o->pyramid, options->channels, levels_needed(o), err);
    if (status == LAY_OK) status = make_spectra(o, err);
    if (status != LAY_OK) {
        lay_order_free(o);
        return status;
    }
    o->seg_low = 1e300;
    lay_clock_init(&o->clock, shaft, o->per_turn);
    *out = o;
    return LAY_OK;
}

void lay_order_free(lay_order *o) {
    if (!o) return;
    lay_sinc_free(o->sinc);
    lay_sinc_free(o->fine);
    lay_pyramid_free(&o->pyramid);
    lay_average_free(&o->angle);
    lay_average_free(&o->hz);
    free(o->frame);
    free(o->map);
    free(o->map_weight);
    free(o->class_sum);
    free(o->class_hz);
    free(o->class_top);
    free(o);
}

/* ---- execution ---- */

static void start_segment(lay_order *o) {
    o->seg_low = 1e300;
    o->seg_high = o->seg_sum = 0;
    o->seg_count = 0;
}

/* Highest order that level 0 still holds flat at the segment's highest speed. */
static double top_order(const lay_order *o) {
    return fmin(o->options.max_order, 0.5 * FLAT_FINE * o->options.rate / o->seg_high);
}

static void take_segment(lay_order *o) {
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
    double wanted = o->options.max_order * hz, nyquist = 0.25 * o->options.rate * FLAT;
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
    bool fine = l == 0 && o->options.max_order * hz > 0.5 * FLAT * o->options.rate;
    size_t half = fine ? HALF_WIDTH_FINE : HALF_WIDTH, channels = (size_t)o->options.channels;
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

static void resample(lay_order *o) {
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
        if (lay_average_put(&o->angle, o->frame)) take_segment(o);
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
        resample(o);
        follow_hz(o);
        forget(o);
        frames += n * (size_t)o->options.channels;
        count -= n;
    }
    return LAY_OK;
}

/* ---- results ---- */

static void finish_rows(lay_order *o, lay_order_spectrum *s) {
    s->classes = (size_t)o->options.speed_classes;
    for (size_t c = 0; c < s->classes; c++) {
        double n = o->class_sum[c];
        if (n < 1) continue;
        o->class_hz[c] /= n;
        for (size_t i = 0; i < s->bins; i++) o->map[c * s->bins + i] /= fmax(1, o->map_weight[c * s->bins + i]);
    }
    s->map = o->map;
    s->class_hz = o->class_hz;
    s->class_segments = o->class_sum;
    s->top_order = o->class_top;
    o->map = o->class_hz = o->class_sum = o->class_top = NULL;
}

static double *take_mean(lay_average *a) {
    for (size_t i = 0; i < a->bins; i++) a->sum[i] = a->weight[i] > 0 ? a->sum[i] / a->weight[i] : 0;
    double *power = a->sum;
    a->sum = NULL;
    return power;
}

static void finish_hz(lay_order *o, lay_order_spectrum *s) {
    if (!o->hz_on || o->hz.segments == 0) return;
    s->hz_step = o->options.rate / (1 << o->hz_level) / (double)o->hz.n;
    s->hz_bins = o->hz.bins;
    s->hz_enbw = lay_window_enbw(o->hz.window, o->hz.n);
    s->hz_averages = lay_average_count(&o->hz);
    s->hz_power = take_mean(&o->hz);
}

static size_t floor_width(const lay_order_spectrum *s) {
    size_t width = (size_t)(6 / s->step) | 1;
    return width < 61 ? 61 : width;
}

/* The recording ended before one segment was full: halve the segment until it fits in what there is. */
static lay_status shorten(lay_order *o, lay_error *err) {
    size_t turns = o->turns, channels = (size_t)o->options.channels;
    while (turns > LEAST_TURNS && turns * o->per_turn > o->angle.filled)
        turns = turns / 2 > LEAST_TURNS ? turns / 2 : LEAST_TURNS;
    if (turns * o->per_turn > o->angle.filled) return LAY_OK;
    lay_average whole = o->angle;
    size_t n = turns * o->per_turn, hop = (size_t)((double)n * (1 - o->options.overlap));
    lay_status status =
        lay_average_init(&o->angle, n, hop ? hop : 1, (size_t)(o->options.max_order * (double)turns) + 1, channels,
                         o->options.window, err);
    o->turns = turns;
    double high = o->seg_high, mean = o->seg_sum / (double)o->seg_count;
    for (size_t f = 0; f < whole.filled && status == LAY_OK; f++) {
        for (size_t c = 0; c < channels; c++) o->frame[c] = whole.fill[c * whole.n + f];
        if (!lay_average_put(&o->angle, o->frame)) continue;
        o->seg_high = high, o->seg_sum = mean, o->seg_count = 1; /* of all that was filled */
        take_segment(o);
    }
    lay_average_free(&whole);
    return status;
}

lay_status lay_order_finish(lay_order *o, lay_order_spectrum *out, lay_error *err) {
    *out = (lay_order_spectrum){0};
    lay_status status = lay_pyramid_finish(&o->pyramid, err);
    if (status != LAY_OK) return status;
    resample(o);
    if (o->angle.segments == 0) status = shorten(o, err);
    if (status != LAY_OK) return status;
    if (o->angle.segments == 0)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the recording ends before %zu turns of the reference shaft are complete: record longer",
                        o->turns);
    out->step = 1 / (double)o->turns;
    out->bins = o->angle.bins;
    out->segments = o->angle.segments;
    out->enbw = lay_window_enbw(o->angle.window, o->angle.n);
    out->averages = lay_average_count(&o->angle);
    out->min_hz = o->min_hz, out->mean_hz = o->mean_hz, out->max_hz = o->max_hz;
    out->revolutions = (double)o->turns + (double)(out->segments - 1) * (double)o->angle.hop / (double)o->per_turn;
    out->power = take_mean(&o->angle);
    finish_rows(o, out);
    finish_hz(o, out);
    out->floor = lay_calloc(out->bins, sizeof *out->floor);
    status = out->floor ? lay_floor_estimate(out->power, out->bins, floor_width(out), out->averages, out->floor, err)
                        : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the floor");
    if (status != LAY_OK) lay_order_spectrum_free(out);
    return status;
}

void lay_order_spectrum_free(lay_order_spectrum *s) {
    if (!s) return;
    free(s->power);
    free(s->floor);
    free(s->top_order);
    free(s->class_hz);
    free(s->class_segments);
    free(s->map);
    free(s->hz_power);
    *s = (lay_order_spectrum){0};
}
