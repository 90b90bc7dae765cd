#include "warp.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>

#define TOP 0.36          /* of the rate */
#define PIECE 32          /* samples between which the time scale counts as straight */
#define PROFILE_STEP 0.25 /* of a bin at the mean speed */
#define MOST_ORDERS 100000.0

typedef struct bench {
    const lay_chapter *chapter;
    const lay_shaft *path;
    size_t n;
    double *position; /* [n], in samples of the wide signal */
    double *window, *x, *pairs, *power, *floor;
    lay_fft *fft;
    lay_whitener whitener;
    size_t hint;
} bench;

static void close_bench(bench *b) {
    free(b->position);
    free(b->window);
    free(b->x);
    free(b->pairs);
    free(b->power);
    free(b->floor);
    lay_fft_free(b->fft);
    lay_whitener_free(&b->whitener);
}

static lay_status open_bench(bench *b, size_t bins, lay_error *err) {
    size_t n = b->n;
    b->position = lay_calloc(n + PIECE + 1, sizeof *b->position);
    b->window = lay_calloc(n, sizeof *b->window);
    b->x = lay_calloc(n, sizeof *b->x);
    b->pairs = lay_calloc(n + 2, sizeof *b->pairs);
    b->power = lay_calloc(bins, sizeof *b->power);
    b->floor = lay_calloc(bins, sizeof *b->floor);
    if (!b->position || !b->window || !b->x || !b->pairs || !b->power || !b->floor)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_window_fill(LAY_WINDOW_HANN, b->window, n);
    lay_status status = lay_fft_new(n, &b->fft, err);
    if (status == LAY_OK) status = lay_whitener_init(&b->whitener, bins, b->chapter->wide_rate / (double)n, err);
    return status;
}

/* Sample positions at which the shaft has turned evenly about the frame's centre. */
static bool place_samples(bench *b, double centre_s, double *hz) {
    double turns, rate = b->chapter->wide_rate, middle = 0.5 * (double)(b->n - 1);
    if (!lay_shaft_at(b->path, centre_s, &b->hint, &turns, hz)) return false;
    size_t hint = b->hint > 64 ? b->hint - 64 : 0;
    for (size_t i = 0; i < b->n + PIECE; i += PIECE) {
        double t, away = ((double)i - middle) / rate;
        if (!lay_shaft_time(b->path, 0, turns + away * *hz, &hint, &t)) t = centre_s + away;
        b->position[i] = (t - b->chapter->start_s) * rate;
        for (size_t k = 1; k < PIECE && i > 0; k++)
            b->position[i - PIECE + k] =
                b->position[i - PIECE] + (b->position[i] - b->position[i - PIECE]) * (double)k / PIECE;
    }
    return true;
}

/* Six-point Lagrange interpolation would be no better here: the band ends at TOP of the rate and the floor hides images
 * below -30 dB. */
static double sample(const float *x, size_t count, double p) {
    double base = floor(p), u = p - base;
    long i = (long)base;
    if (i < 1 || i + 2 >= (long)count) return 0;
    const float *at = x + i;
    return -u * (u - 1) * (u - 2) / 6 * (double)at[-1] + (u + 1) * (u - 1) * (u - 2) / 2 * (double)at[0] -
           (u + 1) * u * (u - 2) / 2 * (double)at[1] + (u + 1) * u * (u - 1) / 6 * (double)at[2];
}

static void add_channel(bench *b, size_t channel, size_t bins, float *ratio) {
    const lay_chapter *c = b->chapter;
    const float *x = c->wide + channel * c->wide_capacity;
    for (size_t i = 0; i < b->n; i++) b->x[i] = b->window[i] * sample(x, c->wide_count, b->position[i]);
    lay_fft_forward(b->fft, b->x, b->pairs);
    for (size_t i = 0; i < bins; i++)
        b->power[i] = b->pairs[2 * i] * b->pairs[2 * i] + b->pairs[2 * i + 1] * b->pairs[2 * i + 1];
    lay_whitener_floor(&b->whitener, b->power, b->floor);
    for (size_t i = 0; i < bins; i++) ratio[i] += (float)(b->power[i] / b->floor[i] / (double)c->channels);
}

lay_status lay_warp_make(const lay_chapter *chapter, const lay_shaft *path, double frame_s, lay_warp *out,
                         lay_error *err) {
    double rate = chapter->wide_rate, whole_s = (double)chapter->wide_count / rate;
    size_t n = 64 * (size_t)(fmin(frame_s, whole_s) * rate / 64);
    *out = (lay_warp){.bins = (size_t)(TOP * (double)n)};
    if (n == 0) return LAY_OK;
    size_t hop = n / 2;
    bench b = {.chapter = chapter, .path = path, .n = n};
    lay_status status = open_bench(&b, out->bins, err);
    out->frames = (chapter->wide_count - n) / hop + 1;
    out->first_s = chapter->start_s + 0.5 * (double)n / rate;
    out->hop_s = (double)hop / rate;
    out->bin_hz = rate / (double)n;
    out->ratio = lay_calloc(out->frames * out->bins + 1, sizeof *out->ratio);
    out->hz = lay_calloc(out->frames, sizeof *out->hz);
    if (status == LAY_OK && (!out->ratio || !out->hz))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t f = 0; f < out->frames && status == LAY_OK; f++) {
        if (!place_samples(&b, out->first_s + (double)f * out->hop_s, &out->hz[f])) continue;
        for (size_t c = 0; c < chapter->channels; c++) add_channel(&b, c, out->bins, out->ratio + f * out->bins);
    }
    close_bench(&b);
    if (status != LAY_OK) lay_warp_free(out);
    return status;
}

void lay_warp_free(lay_warp *warp) {
    free(warp->ratio);
    free(warp->hz);
    *warp = (lay_warp){0};
}

double lay_warp_ratio(const lay_warp *warp, size_t frame, double order) {
    double at = order * warp->hz[frame] / warp->bin_hz;
    if (!(at >= 2 && at < (double)warp->bins - 2)) return -1;
    size_t i = (size_t)at;
    const float *r = warp->ratio + frame * warp->bins + i;
    double u = at - (double)i;
    return (double)r[0] * (1 - u) + (double)r[1] * u;
}

static void add_frame(const lay_warp *warp, size_t frame, lay_profile *out) {
    const float *row = warp->ratio + frame * warp->bins;
    double per_step = out->step * warp->hz[frame] / warp->bin_hz;
    size_t first = (size_t)ceil(2 / per_step), last = (size_t)(((double)warp->bins - 2) / per_step);
    for (size_t i = first; i < last && i < out->count; i++) {
        double at = (double)i * per_step;
        size_t k = (size_t)at;
        float u = (float)(at - (double)k);
        out->mean[i] += row[k] + u * (row[k + 1] - row[k]);
        out->frames[i] += 1;
    }
}

lay_status lay_profile_make(const lay_warp *warp, lay_profile *out, lay_error *err) {
    double sum = 0, least = 1e300;
    *out = (lay_profile){0};
    for (size_t f = 0; f < warp->frames; f++) {
        if (warp->hz[f] <= 0) continue;
        sum += log(warp->hz[f]);
        least = fmin(least, warp->hz[f]);
    }
    if (warp->frames == 0 || least > 1e299) return LAY_OK;
    out->step = PROFILE_STEP * warp->bin_hz / exp(sum / (double)warp->frames);
    out->count = (size_t)fmin(MOST_ORDERS, (double)warp->bins * warp->bin_hz / least / out->step);
    out->mean = lay_calloc(out->count + 1, sizeof *out->mean);
    out->frames = lay_calloc(out->count + 1, sizeof *out->frames);
    if (!out->mean || !out->frames) {
        lay_profile_free(out);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    }
    for (size_t f = 0; f < warp->frames; f++)
        if (warp->hz[f] > 0) add_frame(warp, f, out);
    for (size_t i = 0; i < out->count; i++)
        if (out->frames[i] > 0) out->mean[i] /= out->frames[i];
    return LAY_OK;
}

void lay_profile_free(lay_profile *profile) {
    free(profile->mean);
    free(profile->frames);
    *profile = (lay_profile){0};
}
