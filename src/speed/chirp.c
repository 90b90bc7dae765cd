#include "chirp.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FRAME_S 0.256
#define HOP_S 0.128
#define TOP 0.4 /* of the rate: what the interpolation leaves intact */
#define BANDS_PER_OCTAVE 4
#define BAND_LOW_HZ 40.0
#define STILL_RATIO 2.5 /* of the median over time to its own floor */
#define STILL_REACH 2
#define SLOPE_SD 0.05 /* usual change of the slope from frame to frame, 1/s */

/* Relative change of speed per second, both ways: a shaft in gear hardly exceeds these (first gear, full load). */
static const double slopes[] = {-0.56, -0.44, -0.35, -0.28, -0.22, -0.17, -0.13, -0.095, -0.065, -0.04, -0.02, 0,
                                0.02,  0.04,  0.065, 0.095, 0.13,  0.17,  0.22,  0.28,   0.35,   0.44,  0.56};
#define SLOPES (sizeof slopes / sizeof slopes[0])

typedef struct warp {
    int offset; /* first of the four samples, from the frame's first */
    float weight[4];
} warp;

typedef struct bench {
    const lay_chapter *chapter;
    size_t n, hop, bins;
    size_t margin; /* samples that warps reach beyond the frame, either side */
    double *window, *x, *pairs, *power, *floor;
    bool *still; /* [channels * bins]: something stays at this frequency all the time */
    warp *warps; /* [SLOPES * n] */
    lay_fft *fft;
    lay_whitener whitener;
} bench;

/* Cubic (four points) through the samples about position p, which may lie outside the frame. */
static warp warp_at(double p) {
    double base = floor(p), u = p - base;
    warp w = {(int)base - 1,
              {(float)(-u * (u - 1) * (u - 2) / 6), (float)((u + 1) * (u - 1) * (u - 2) / 2),
               (float)(-(u + 1) * u * (u - 2) / 2), (float)((u + 1) * u * (u - 1) / 6)}};
    return w;
}

/* Within a frame the shaft's angle goes as u = t + slope t^2 / 2 about the centre; samples are wanted at even u. */
static void fill_warps(bench *b, double rate) {
    double middle = 0.5 * (double)(b->n - 1);
    for (size_t s = 0; s < SLOPES; s++)
        for (size_t i = 0; i < b->n; i++) {
            double u = ((double)i - middle) / rate, a = slopes[s];
            double t = fabs(a) < 1e-9 ? u : (sqrt(1 + 2 * a * u) - 1) / a;
            b->warps[s * b->n + i] = warp_at(middle + t * rate);
        }
}

static void close_bench(bench *b) {
    free(b->window);
    free(b->x);
    free(b->pairs);
    free(b->power);
    free(b->floor);
    free(b->still);
    free(b->warps);
    lay_fft_free(b->fft);
    lay_whitener_free(&b->whitener);
}

static lay_status open_bench(const lay_chapter *chapter, bench *b, lay_error *err) {
    double rate = 0.5 * chapter->wide_rate;
    size_t n = 32 * (size_t)(FRAME_S * rate / 32 + 0.5);
    *b = (bench){.chapter = chapter, .n = n, .hop = (size_t)(HOP_S * rate + 0.5), .bins = (size_t)(TOP * (double)n)};
    b->margin = (size_t)(slopes[SLOPES - 1] * FRAME_S * FRAME_S / 8 * 1.2 * rate) + 4;
    b->window = lay_calloc(n, sizeof *b->window);
    b->x = lay_calloc(n, sizeof *b->x);
    b->pairs = lay_calloc(n + 2, sizeof *b->pairs);
    b->power = lay_calloc(b->bins, sizeof *b->power);
    b->floor = lay_calloc(b->bins, sizeof *b->floor);
    b->still = lay_calloc(b->bins * chapter->channels, sizeof *b->still);
    b->warps = lay_calloc(SLOPES * n, sizeof *b->warps);
    lay_status status = lay_fft_new(n, &b->fft, err);
    if (status == LAY_OK) status = lay_whitener_init(&b->whitener, b->bins, rate / (double)n, err);
    if (status == LAY_OK && (!b->window || !b->x || !b->pairs || !b->power || !b->floor || !b->still || !b->warps))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    if (status == LAY_OK) {
        lay_window_fill(LAY_WINDOW_HANN, b->window, n);
        fill_warps(b, rate);
    }
    return status;
}

static void spectrum(bench *b, const float *x, size_t slope) {
    const warp *w = b->warps + slope * b->n;
    for (size_t i = 0; i < b->n; i++) {
        const float *at = x + w[i].offset;
        float value = w[i].weight[0] * at[0] + w[i].weight[1] * at[1] + w[i].weight[2] * at[2] + w[i].weight[3] * at[3];
        b->x[i] = (double)value * b->window[i];
    }
    lay_fft_forward(b->fft, b->x, b->pairs);
    for (size_t i = 0; i < b->bins; i++)
        b->power[i] = b->pairs[2 * i] * b->pairs[2 * i] + b->pairs[2 * i + 1] * b->pairs[2 * i + 1];
}

/* How sharp the lines are, band by band: gathering a smeared line raises the squares of powers over the square of their
 * sum. The logarithm lets every band have its say, however loud its lines. */
static double sharpness(const bench *b, const bool *still) {
    double sum = 0, bin_hz = b->whitener.bin_hz, step = exp2(1.0 / BANDS_PER_OCTAVE);
    for (double low = BAND_LOW_HZ; low * step < bin_hz * (double)b->bins; low *= step) {
        size_t from = (size_t)(low / bin_hz + 0.5), to = (size_t)(low * step / bin_hz + 0.5);
        double squares = 0, plain = 1e-200;
        size_t count = 0;
        for (size_t i = from; i < to; i++) {
            if (still && still[i]) continue;
            squares += b->power[i] * b->power[i];
            plain += b->power[i];
            count++;
        }
        if (count > 2) sum += log(squares / (plain * plain) * (double)count);
    }
    return sum;
}

/* plain[SLOPES], moving[SLOPES] += sharpness of one channel's frame under every slope, with and without what stays at
 * its frequency. */
static void score_frame(bench *b, const float *x, const bool *still, double *plain, double *moving) {
    for (size_t s = 0; s < SLOPES; s++) {
        spectrum(b, x, s);
        plain[s] += sharpness(b, NULL);
        moving[s] += sharpness(b, still);
    }
}

/* Best sequence of slopes, each change costing by its square. */
static lay_status follow_slopes(const double *score, size_t frames, size_t *path, lay_error *err) {
    uint8_t *from = lay_calloc(frames * SLOPES, sizeof *from);
    double now[SLOPES], next[SLOPES];
    if (!from) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t s = 0; s < SLOPES; s++) now[s] = score[s];
    for (size_t f = 1; f < frames; f++) {
        for (size_t s = 0; s < SLOPES; s++) {
            double best = -1e300;
            for (size_t k = 0; k < SLOPES; k++) {
                double change = (slopes[s] - slopes[k]) / SLOPE_SD, value = now[k] - 0.5 * change * change;
                if (value <= best) continue;
                best = value;
                from[f * SLOPES + s] = (uint8_t)k;
            }
            next[s] = best + score[f * SLOPES + s];
        }
        for (size_t s = 0; s < SLOPES; s++) now[s] = next[s];
    }
    size_t at = 0;
    for (size_t s = 1; s < SLOPES; s++)
        if (now[s] > now[at]) at = s;
    for (size_t f = frames; f-- > 0;) {
        path[f] = at;
        at = from[f * SLOPES + at];
    }
    free(from);
    return LAY_OK;
}

static void keep_frame(bench *b, size_t at, size_t slope, bool moving, float *ratio) {
    const lay_chapter *c = b->chapter;
    for (size_t ch = 0; ch < c->channels; ch++) {
        spectrum(b, c->narrow + ch * c->narrow_capacity + at, slope);
        lay_whitener_floor(&b->whitener, b->power, b->floor);
        for (size_t i = 0; i < b->bins; i++) {
            double r = b->power[i] / b->floor[i];
            if (moving && b->still[ch * b->bins + i]) r = fmin(r, 1);
            ratio[i] += (float)(r / (double)c->channels);
        }
    }
}

/* Bins about which the median over time, in b->power, stands out. */
static void mark_still(bench *b, bool *still) {
    lay_whitener_floor(&b->whitener, b->power, b->floor);
    for (size_t i = 0; i < b->bins; i++) {
        if (b->power[i] < STILL_RATIO * b->floor[i]) continue;
        for (size_t k = i < STILL_REACH ? 0 : i - STILL_REACH; k <= i + STILL_REACH && k < b->bins; k++)
            still[k] = true;
    }
}

/* What stays at its frequency while the median over time is taken. */
static lay_status find_still(bench *b, size_t channel, size_t frames, lay_error *err) {
    const lay_chapter *c = b->chapter;
    size_t every = frames / 200 + 1, count = 0;
    float *all = lay_calloc((frames / every + 1) * b->bins, sizeof *all);
    double *column = lay_calloc(frames / every + 1, sizeof *column);
    lay_status status = all && column ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t f = 0; f < frames && status == LAY_OK; f += every, count++) {
        spectrum(b, c->narrow + channel * c->narrow_capacity + b->margin + f * b->hop, SLOPES / 2);
        for (size_t i = 0; i < b->bins; i++) all[count * b->bins + i] = (float)b->power[i];
    }
    for (size_t i = 0; i < b->bins && status == LAY_OK; i++) {
        for (size_t f = 0; f < count; f++) column[f] = (double)all[f * b->bins + i];
        b->power[i] = lay_median(column, count);
    }
    if (status == LAY_OK) mark_still(b, b->still + channel * b->bins);
    free(all);
    free(column);
    return status;
}

static lay_status take_view(bench *b, const double *score, bool moving, lay_chirp *out, lay_error *err) {
    size_t *path = lay_calloc(out->frames, sizeof *path);
    if (!path) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = follow_slopes(score, out->frames, path, err);
    for (size_t f = 0; f < out->frames && status == LAY_OK; f++) {
        out->slope[f] = (float)slopes[path[f]];
        keep_frame(b, b->margin + f * b->hop, path[f], moving, out->ratio + f * out->bins);
    }
    free(path);
    return status;
}

static lay_status score_frames(bench *b, size_t frames, double *score, lay_error *err) {
    const lay_chapter *c = b->chapter;
    lay_status status = LAY_OK;
    for (size_t ch = 0; ch < c->channels && status == LAY_OK; ch++) status = find_still(b, ch, frames, err);
    for (size_t f = 0; f < frames && status == LAY_OK; f++)
        for (size_t ch = 0; ch < c->channels; ch++)
            score_frame(b, c->narrow + ch * c->narrow_capacity + b->margin + f * b->hop, b->still + ch * b->bins,
                        score + f * SLOPES, score + (frames + f) * SLOPES);
    return status;
}

static lay_status open_view(const bench *b, lay_chirp *out, lay_error *err) {
    const lay_chapter *c = b->chapter;
    double rate = 0.5 * c->wide_rate;
    *out = (lay_chirp){.first_s = c->start_s + (0.5 * (double)b->n + (double)b->margin) / rate,
                       .hop_s = (double)b->hop / rate,
                       .bin_hz = rate / (double)b->n,
                       .frames = (c->narrow_count - b->n - 2 * b->margin) / b->hop + 1,
                       .bins = b->bins};
    out->ratio = lay_calloc(out->frames * out->bins, sizeof *out->ratio);
    out->slope = lay_calloc(out->frames, sizeof *out->slope);
    return out->ratio && out->slope ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
}

static lay_status make_views(bench *b, lay_chirp views[LAY_CHIRP_VIEWS], lay_error *err) {
    lay_status status = open_view(b, &views[0], err);
    if (status == LAY_OK) status = open_view(b, &views[1], err);
    if (status != LAY_OK) return status;
    double *score = lay_calloc(2 * views[0].frames * SLOPES, sizeof *score);
    if (!score) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    status = score_frames(b, views[0].frames, score, err);
    if (status == LAY_OK) status = take_view(b, score, false, &views[0], err);
    if (status == LAY_OK) status = take_view(b, score + views[0].frames * SLOPES, true, &views[1], err);
    free(score);
    return status;
}

lay_status lay_chirp_make(const lay_chapter *chapter, lay_chirp views[LAY_CHIRP_VIEWS], lay_error *err) {
    bench b;
    memset(views, 0, LAY_CHIRP_VIEWS * sizeof *views);
    lay_status status = open_bench(chapter, &b, err);
    if (status == LAY_OK && chapter->narrow_count >= b.n + 2 * b.margin) status = make_views(&b, views, err);
    close_bench(&b);
    for (size_t v = 0; v < LAY_CHIRP_VIEWS && status != LAY_OK; v++) lay_chirp_free(&views[v]);
    return status;
}

void lay_chirp_free(lay_chirp *chirp) {
    free(chirp->ratio);
    free(chirp->slope);
    *chirp = (lay_chirp){0};
}
