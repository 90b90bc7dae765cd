#include "reader.h"

#include "dsp/hot.h"

#include <math.h>

#define KAISER_BETA 9.0

static int levels_needed(const lay_reader *r, double min_hz) {
    int levels = 2;
    double slowest = fmax(min_hz, 1e-3);
    while (levels < LAY_PYRAMID_LEVELS && r->rate / (1 << levels) * 0.5 * LAY_READER_FLAT > r->max_order * slowest)
        levels++;
    return levels;
}

lay_status lay_reader_init(lay_reader *r, double rate, int channels, double max_order, double min_hz, lay_error *err) {
    *r = (lay_reader){.rate = rate, .max_order = max_order, .channels = (size_t)channels};
    lay_status status = lay_sinc_new(LAY_READER_HALF_WIDTH, KAISER_BETA, &r->sinc, err);
    if (status == LAY_OK) status = lay_sinc_new(LAY_READER_HALF_WIDTH_FINE, KAISER_BETA, &r->fine, err);
    if (status == LAY_OK) status = lay_pyramid_init(&r->pyramid, channels, levels_needed(r, min_hz), err);
    return status;
}

void lay_reader_free(lay_reader *r) {
    lay_sinc_free(r->sinc);
    lay_sinc_free(r->fine);
    lay_pyramid_free(&r->pyramid);
    *r = (lay_reader){0};
}

static int level_for(const lay_reader *r, double hz) {
    double wanted = r->max_order * hz, nyquist = 0.25 * r->rate * LAY_READER_FLAT;
    int l = 0;
    while (l + 1 < r->pyramid.levels && nyquist >= wanted) {
        l++;
        nyquist /= 2;
    }
    return l;
}

/* A number of channels known to the compiler, which keeps their sums in registers. */
static inline void weigh_fixed(const double *x, const size_t channels, const double *weights, size_t taps,
                               double *out) {
    double sum[8] = {0};
    for (size_t k = 0; k < taps; k++)
        for (size_t c = 0; c < channels; c++) sum[c] += weights[k] * x[k * channels + c];
    for (size_t c = 0; c < channels; c++) out[c] = sum[c];
}

/* The same weights on every channel of interleaved frames, channels side by side. */
LAY_HOT static void weigh(const double *x, size_t channels, const double *weights, size_t taps, double *out) {
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
    switch (channels) {
    case 3:
        weigh_fixed(x, 3, weights, taps, out);
        return;
    case 4:
        weigh_fixed(x, 4, weights, taps, out);
        return;
    case 5:
        weigh_fixed(x, 5, weights, taps, out);
        return;
    case 6:
        weigh_fixed(x, 6, weights, taps, out);
        return;
    case 7:
        weigh_fixed(x, 7, weights, taps, out);
        return;
    case 8:
        weigh_fixed(x, 8, weights, taps, out);
        return;
    default:
        break;
    }
    for (size_t c = 0; c < channels; c++) out[c] = 0;
    for (size_t k = 0; k < taps; k++)
        for (size_t c = 0; c < channels; c++) out[c] += weights[k] * x[k * channels + c];
}

bool lay_reader_at(lay_reader *r, double t, double hz, double *out) {
    int l = level_for(r, hz);
    const lay_level *level = &r->pyramid.level[l];
    double position = t * r->rate / (1 << l) - (double)level->first;
    bool fine = l == 0 && r->max_order * hz > 0.5 * LAY_READER_FLAT * r->rate;
    size_t half = fine ? LAY_READER_HALF_WIDTH_FINE : LAY_READER_HALF_WIDTH, channels = r->channels;
    if (position + (double)half + 2 >= (double)level->held) return false;
    const lay_sinc *sinc = fine ? r->fine : r->sinc;
    double whole = floor(position);
    if (whole < (double)half || channels == 1) {
        for (size_t c = 0; c < channels; c++)
            out[c] = lay_sinc_at(sinc, level->x + c, level->held, channels, position, 1);
        return true;
    }
    lay_sinc_weights(sinc, position - whole, r->weights);
    weigh(level->x + ((size_t)whole + 1 - half) * channels, channels, r->weights, 2 * half, out);
    return true;
}
