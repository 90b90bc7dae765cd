/* Spectra over time (short-time Fourier transform, Allen and Rabiner, Proc. IEEE 65 (1977) 1558; value from memory of
 * that work) in a table of bounded width. Columns hold sums of power; when the table is full, neighbours are added and
 * every column stands for twice as many spectra from then on. */
#include <layshaft/speed.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LONGEST (1u << 20)    /* samples in a window */
#define MOST_CELLS (1u << 26) /* of the table */
#define PAD 2                 /* zeros after the window: bins at half the distance draw a smooth picture */
#define HOPS 4                /* spectra per window length */

struct lay_stft {
    double rate, scale; /* of |X|^2 to the mean square of a sine */
    size_t n, bins;     /* samples in the window, bins kept */
    double *window, *held, *padded, *pairs, *sum;
    size_t held_count;
    size_t columns_max, columns; /* begun so far */
    size_t group, in_last;       /* spectra per column, spectra in the last one */
    lay_fft *fft;
};

void lay_spectrogram_free(lay_spectrogram *s) {
    if (!s) return;
    free(s->power);
    *s = (lay_spectrogram){0};
}

void lay_stft_free(lay_stft *s) {
    if (!s) return;
    free(s->window);
    free(s->held);
    free(s->padded);
    free(s->pairs);
    free(s->sum);
    lay_fft_free(s->fft);
    free(s);
}

static lay_status allocate(lay_stft *s, lay_error *err) {
    s->window = lay_calloc(s->n, sizeof(double));
    s->held = lay_calloc(s->n, sizeof(double));
    s->padded = lay_calloc(PAD * s->n, sizeof(double));
    s->pairs = lay_calloc(PAD * s->n + 2, sizeof(double));
    s->sum = lay_calloc(s->bins * s->columns_max, sizeof(double));
    if (!s->window || !s->held || !s->padded || !s->pairs || !s->sum)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the spectra over time");
    return lay_fft_new(PAD * s->n, &s->fft, err);
}

static void fill_window(lay_stft *s) {
    double sum = 0;
    lay_window_fill(LAY_WINDOW_HANN, s->window, s->n);
    for (size_t i = 0; i < s->n; i++) sum += s->window[i];
    s->scale = 2 / (sum * sum);
}

lay_status lay_stft_new(const lay_stft_options *o, lay_stft **out, lay_error *err) {
    *out = NULL;
    bool good = o->rate > 0 && o->rate < 1e9 && o->window_s > 0 && o->window_s * o->rate <= LONGEST && o->columns >= 2;
    if (!good) return lay_fail(err, LAY_BAD_INPUT, "spectra over time need a sample rate, a window and two columns");
    lay_stft *s = lay_calloc(1, sizeof *s);
    if (!s) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the spectra over time");
    s->rate = o->rate;
    s->n = 16 * (size_t)ceil(fmax(1, o->window_s * o->rate / 16)); /* small factors: a quick transform */
    s->bins = s->n * PAD / 2 + 1;
    double kept = o->max_hz > 0 ? floor(o->max_hz * (double)(s->n * PAD) / o->rate) + 1 : INFINITY;
    if (kept < (double)s->bins) s->bins = (size_t)kept;
    s->columns_max = o->columns - o->columns % 2;
    s->group = 1;
    lay_status status = s->bins > MOST_CELLS / s->columns_max
                            ? lay_fail(err, LAY_BAD_INPUT, "so many spectra over time do not fit into memory")
                            : allocate(s, err);
    if (status != LAY_OK) {
        lay_stft_free(s);
        return status;
    }
    fill_window(s);
    *out = s;
    return LAY_OK;
}

/* Half as many columns, each the sum of two neighbours. */
static void halve(lay_stft *s) {
    for (size_t c = 0; c < s->columns / 2; c++)
        for (size_t b = 0; b < s->bins; b++)
            s->sum[c * s->bins + b] = s->sum[2 * c * s->bins + b] + s->sum[(2 * c + 1) * s->bins + b];
    s->columns /= 2;
    s->group *= 2;
}

static double *open_column(lay_stft *s) {
    if (s->columns == 0 || s->in_last == s->group) {
        if (s->columns == s->columns_max) halve(s);
        memset(s->sum + s->columns * s->bins, 0, s->bins * sizeof(double));
        s->columns++;
        s->in_last = 0;
    }
    return s->sum + (s->columns - 1) * s->bins;
}

static void transform(lay_stft *s) {
    double *column = open_column(s);
    for (size_t i = 0; i < s->n; i++) s->padded[i] = s->held[i] * s->window[i];
    lay_fft_forward(s->fft, s->padded, s->pairs);
    for (size_t b = 0; b < s->bins; b++) {
        double re = s->pairs[2 * b], im = s->pairs[2 * b + 1], once = b == 0 || b == s->n * PAD / 2 ? 0.5 : 1;
        column[b] += once * s->scale * (re * re + im * im);
    }
    s->in_last++;
}

void lay_stft_feed(lay_stft *s, const double *x, size_t stride, size_t count) {
    size_t hop = s->n / HOPS;
    for (size_t i = 0; i < count; i++) {
        double value = x[i * stride];
        s->held[s->held_count++] = isfinite(value) ? value : 0;
        if (s->held_count < s->n) continue;
        transform(s);
        memmove(s->held, s->held + hop, (s->n - hop) * sizeof(double));
        s->held_count = s->n - hop;
    }
}

/* A last column of few spectra would stand at a wrong time. */
static void close_columns(lay_stft *s) {
    if (s->columns > 1 && 2 * s->in_last < s->group) {
        s->columns--;
        s->in_last = s->group;
    }
    for (size_t c = 0; c < s->columns; c++) {
        double share = 1.0 / (double)(c + 1 < s->columns ? s->group : s->in_last);
        for (size_t b = 0; b < s->bins; b++) s->sum[c * s->bins + b] *= share;
    }
}

lay_status lay_stft_finish(lay_stft *s, lay_spectrogram *out, lay_error *err) {
    double hop = (double)(s->n / HOPS) / s->rate;
    *out = (lay_spectrogram){0};
    if (s->columns == 0 && s->held_count == 0)
        return lay_fail(err, LAY_BAD_INPUT, "the recording holds no samples to draw");
    if (s->columns == 0) {
        memset(s->held + s->held_count, 0, (s->n - s->held_count) * sizeof(double));
        transform(s);
    }
    close_columns(s);
    out->power = s->sum;
    s->sum = NULL;
    out->columns = s->columns;
    out->bins = s->bins;
    out->start_s = 0.5 * HOPS * hop + 0.5 * (double)(s->group - 1) * hop;
    out->step_s = (double)s->group * hop;
    out->step_hz = s->rate / (double)(s->n * PAD);
    return LAY_OK;
}
