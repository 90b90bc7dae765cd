#include <layshaft/dsp.h>

#include "hot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Half-band FIR by the Kaiser window: pass band to 0.2, stop band from 0.3 of the rate, some 95 dB (Kaiser 1974:
 * 59 taps). Every second tap is zero, so one output costs 15 sums and products. */

#define ARM LAY_PYRAMID_ARM
#define KEEP 256 /* frames kept behind the reader for the interpolator's reach */

static double bessel_i0(double x) {
    double sum = 1, term = 1;
    for (int k = 1; k < 60; k++) {
        term *= (x / 2 / k) * (x / 2 / k);
        sum += term;
    }
    return sum;
}

static void design(double *tap) {
    const double beta = 9.3;
    double sum = 0;
    for (int d = 0; d <= ARM; d++) {
        double u = (double)d / (ARM + 1);
        double window = bessel_i0(beta * sqrt(1 - u * u)) / bessel_i0(beta);
        tap[d] = d == 0 ? 0.5 : (d % 2 ? sin(LAY_PI * d / 2) / (LAY_PI * d) * window : 0);
        sum += d == 0 ? tap[d] : 2 * tap[d];
    }
    for (int d = 0; d <= ARM; d++) tap[d] /= sum;
}

lay_status lay_pyramid_init(lay_pyramid *p, int channels, int levels, lay_error *err) {
    *p = (lay_pyramid){.channels = channels, .levels = levels};
    if (levels < 1 || levels > LAY_PYRAMID_LEVELS || channels < 1)
        return lay_fail(err, LAY_BAD_INPUT, "no channel to analyse");
    design(p->tap);
    return LAY_OK;
}

void lay_pyramid_free(lay_pyramid *p) {
    for (int l = 0; l < LAY_PYRAMID_LEVELS; l++) free(p->level[l].x);
    *p = (lay_pyramid){0};
}

static lay_status make_room(lay_level *level, int channels, size_t more, lay_error *err) {
    size_t needed = level->held + more;
    if (needed <= level->capacity) return LAY_OK;
    size_t capacity = level->capacity ? level->capacity : 4096;
    while (capacity < needed) capacity *= 2;
    double *x = realloc(level->x, capacity * (size_t)channels * sizeof *x);
    if (!x) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the signal");
    level->x = x;
    level->capacity = capacity;
    return LAY_OK;
}

/* Frame `index` of the level above from the level below, whose frames 2 index +- ARM are held or lie before the start.
 */
static void halve_early(const double *tap, const lay_level *below, int channels, int64_t index, double *out) {
    int64_t centre = 2 * index - below->first;
    size_t n = (size_t)channels;
    for (size_t c = 0; c < n; c++) {
        const double *x = below->x + centre * channels + (int64_t)c;
        double sum = tap[0] * x[0];
        for (int d = 1; d <= ARM; d += 2) {
            int64_t away = (int64_t)d * channels;
            double left = centre - d >= 0 ? x[-away] : 0;
            sum += tap[d] * (left + x[away]);
        }
        out[c] = sum;
    }
}

/* Later frames have both arms. A number of channels known to the compiler, which keeps their sums in registers. */
static inline void halve_fixed(const double *tap, const double *x, const size_t channels, size_t count, double *out) {
    for (size_t i = 0; i < count; i++, x += 2 * channels, out += channels) {
        double sum[8];
        for (size_t c = 0; c < channels; c++) sum[c] = tap[0] * x[c];
        for (size_t d = 1; d <= ARM; d += 2) {
            const double *left = x - d * channels, *right = x + d * channels;
            for (size_t c = 0; c < channels; c++) sum[c] += tap[d] * (left[c] + right[c]);
        }
        for (size_t c = 0; c < channels; c++) out[c] = sum[c];
    }
}

LAY_HOT static void halve_frames(const double *tap, const double *x, size_t channels, size_t count, double *out) {
    switch (channels) {
    case 2:
        halve_fixed(tap, x, 2, count, out);
        return;
    case 3:
        halve_fixed(tap, x, 3, count, out);
        return;
    case 4:
        halve_fixed(tap, x, 4, count, out);
        return;
    case 5:
        halve_fixed(tap, x, 5, count, out);
        return;
    case 6:
        halve_fixed(tap, x, 6, count, out);
        return;
    case 7:
        halve_fixed(tap, x, 7, count, out);
        return;
    case 8:
        halve_fixed(tap, x, 8, count, out);
        return;
    default:
        break;
    }
    for (size_t i = 0; i < count; i++, x += 2 * channels, out += channels) {
        for (size_t c = 0; c < channels; c++) out[c] = tap[0] * x[c];
        for (size_t d = 1; d <= ARM; d += 2) {
            const double *left = x - d * channels, *right = x + d * channels;
            for (size_t c = 0; c < channels; c++) out[c] += tap[d] * (left[c] + right[c]);
        }
    }
}

/* One channel: neighbouring outputs side by side, each summed in the same order. */
LAY_HOT static void halve_single(const double *tap, const double *x, size_t count, double *out) {
    for (size_t i = 0; i < count; i++) out[i] = tap[0] * x[2 * i];
    for (size_t d = 1; d <= ARM; d += 2) {
        const double *left = x - d, *right = x + d;
        for (size_t i = 0; i < count; i++) out[i] += tap[d] * (left[2 * i] + right[2 * i]);
    }
}

static lay_status halve(const double *tap, const lay_level *below, lay_level *above, int channels, lay_error *err) {
    int64_t end = below->first + (int64_t)below->held;
    int64_t last = (end - 1 - ARM) / 2; /* last index whose right arm is held */
    if (end - 1 - ARM < 0 || last < above->next_in) return LAY_OK;
    size_t more = (size_t)(last - above->next_in + 1);
    lay_status status = make_room(above, channels, more, err);
    if (status != LAY_OK) return status;
    size_t n = (size_t)channels, early = 0;
    double *out = above->x + above->held * n;
    for (; early < more && 2 * (above->next_in + (int64_t)early) - below->first < ARM; early++)
        halve_early(tap, below, channels, above->next_in + (int64_t)early, out + early * n);
    const double *x = below->x + (2 * (above->next_in + (int64_t)early) - below->first) * channels;
    if (channels == 1)
        halve_single(tap, x, more - early, out + early);
    else
        halve_frames(tap, x, n, more - early, out + early * n);
    above->held += more;
    above->next_in += (int64_t)more;
    return LAY_OK;
}

static lay_status bring_up(lay_pyramid *p, lay_error *err) {
    lay_status status = LAY_OK;
    for (int l = 1; l < p->levels && status == LAY_OK; l++)
        status = halve(p->tap, &p->level[l - 1], &p->level[l], p->channels, err);
    return status;
}

lay_status lay_pyramid_feed(lay_pyramid *p, const double *frames, size_t count, lay_error *err) {
    lay_level *base = &p->level[0];
    size_t n = count * (size_t)p->channels;
    lay_status status = make_room(base, p->channels, count, err);
    if (status != LAY_OK) return status;
    double *to = base->x + base->held * (size_t)p->channels;
    for (size_t i = 0; i < n; i++) to[i] = isfinite(frames[i]) ? frames[i] : 0;
    base->held += count;
    return bring_up(p, err);
}

lay_status lay_pyramid_finish(lay_pyramid *p, lay_error *err) {
    lay_level *base = &p->level[0];
    size_t pad = (size_t)(ARM + 40) << p->levels;
    lay_status status = make_room(base, p->channels, pad, err);
    if (status != LAY_OK) return status;
    memset(base->x + base->held * (size_t)p->channels, 0, pad * (size_t)p->channels * sizeof *base->x);
    base->held += pad;
    return bring_up(p, err);
}

static void drop(lay_level *level, int channels, int64_t keep_from) {
    int64_t gone = keep_from - level->first;
    if (gone > (int64_t)level->held) gone = (int64_t)level->held;
    if (gone < 4096) return; /* move rarely */
    size_t n = (size_t)channels;
    level->held -= (size_t)gone;
    memmove(level->x, level->x + (size_t)gone * n, level->held * n * sizeof *level->x);
    level->first += gone;
}

void lay_pyramid_forget(lay_pyramid *p, int64_t frame) {
    for (int l = 0; l < p->levels; l++) {
        int64_t keep = (frame >> l) - KEEP;
        if (l + 1 < p->levels) { /* the next level must still be made from it */
            int64_t needed = 2 * p->level[l + 1].next_in - ARM - 2;
            if (needed < keep) keep = needed;
        }
        drop(&p->level[l], p->channels, keep);
    }
}
