#include "accumulate.h"

#include "dsp/hot.h"

#include <stdlib.h>
#include <string.h>

lay_status lay_average_init(lay_average *a, size_t n, size_t hop, size_t bins, size_t channels, lay_window window,
                            lay_error *err) {
    *a = (lay_average){.n = n, .hop = hop, .bins = bins, .channels = channels};
    lay_status status = lay_fft_new(n, &a->fft, err);
    if (status != LAY_OK) return status;
    a->window = lay_calloc(n, sizeof *a->window);
    a->scratch = lay_calloc(n, sizeof *a->scratch);
    a->pairs = lay_calloc(n + 2, sizeof *a->pairs);
    a->fill = lay_calloc(n * channels, sizeof *a->fill);
    a->sum = lay_calloc(bins, sizeof *a->sum);
    a->weight = lay_calloc(bins, sizeof *a->weight);
    a->one = lay_calloc(bins, sizeof *a->one);
    a->channel = lay_calloc(channels, sizeof *a->channel);
    if (!a->window || !a->scratch || !a->pairs || !a->fill || !a->sum || !a->weight || !a->one || !a->channel) {
        lay_average_free(a);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the spectrum");
    }
    lay_window_fill(window, a->window, n);
    double gain = 0;
    for (size_t i = 0; i < n; i++) gain += a->window[i];
    a->scale = 2 / (gain * gain); /* |X|^2 of a tone of amplitude A is (A gain / 2)^2; its mean square A^2 / 2 */
    return LAY_OK;
}

void lay_average_free(lay_average *a) {
    lay_fft_free(a->fft);
    free(a->window);
    free(a->scratch);
    free(a->pairs);
    free(a->fill);
    free(a->sum);
    free(a->weight);
    free(a->one);
    free(a->channel);
    *a = (lay_average){0};
}

bool lay_average_put(lay_average *a, const double *frame) {
    for (size_t c = 0; c < a->channels; c++) a->fill[c * a->n + a->filled] = frame[c];
    return ++a->filled == a->n;
}

/* Returns the sum: of four interleaved parts, so that they run side by side. */
LAY_HOT static double add_power(double *restrict one, const double *restrict pairs, double scale, size_t bins) {
    double sum[4] = {0};
    size_t i = 0;
    for (; i + 4 <= bins; i += 4)
        for (size_t k = 0; k < 4; k++) {
            const double *pair = pairs + 2 * (i + k);
            double power = scale * (pair[0] * pair[0] + pair[1] * pair[1]);
            one[i + k] += power;
            sum[k] += power;
        }
    for (; i < bins; i++) {
        double power = scale * (pairs[2 * i] * pairs[2 * i] + pairs[2 * i + 1] * pairs[2 * i + 1]);
        one[i] += power;
        sum[0] += power;
    }
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

void lay_average_take(lay_average *a, size_t top) {
    memset(a->one, 0, a->bins * sizeof *a->one);
    for (size_t c = 0; c < a->channels; c++) {
        double *x = a->fill + c * a->n;
        for (size_t i = 0; i < a->n; i++) a->scratch[i] = x[i] * a->window[i];
        lay_fft_forward(a->fft, a->scratch, a->pairs);
        a->channel[c] += add_power(a->one, a->pairs, a->scale, a->bins);
        memmove(x, x + a->hop, (a->n - a->hop) * sizeof *x);
    }
    if (top > a->bins) top = a->bins;
    for (size_t i = 0; i < top; i++) {
        a->sum[i] += a->one[i];
        a->weight[i] += 1;
    }
    a->segments++;
    a->filled = a->n - a->hop;
}

void lay_average_restart(lay_average *a) {
    a->filled = 0;
}

double lay_average_count(const lay_average *a) {
    double sum = 0, squares = 0;
    for (size_t c = 0; c < a->channels; c++) {
        sum += a->channel[c];
        squares += a->channel[c] * a->channel[c];
    }
    double channels = squares > 0 ? sum * sum / squares : 1;
    return channels * lay_welch_effective(a->window, a->n, a->hop, a->segments);
}
