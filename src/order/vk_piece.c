/* Some samples at once: over a piece so short that envelopes are constant and phases turn evenly, sums over samples of
 * products of cosines and sines are known in closed form, and only the samples' own products with each track have to be
 * summed. */
#include "vk.h"

#include "dsp/hot.h"

#include <math.h>

/* Sums of samples times a phasor that turns on by the conjugate of a step after each: turn is re, im, step's re, im. */
static inline void sum_fixed(const double *restrict x, const size_t channels, size_t n, const double turn[4],
                             double *restrict sum) {
    double r = turn[0], i = turn[1], re[8] = {0}, im[8] = {0};
    for (size_t s = 0; s < n; s++) {
        for (size_t c = 0; c < channels; c++) {
            re[c] += r * x[s * channels + c];
            im[c] += i * x[s * channels + c];
        }
        double turned = r * turn[2] + i * turn[3];
        i = i * turn[2] - r * turn[3];
        r = turned;
    }
    for (size_t c = 0; c < channels; c++) sum[2 * c] = re[c], sum[2 * c + 1] = im[c];
}

LAY_HOT static void sum_turning(const double *restrict x, size_t channels, size_t n, const double turn[4],
                                double *restrict sum) {
    switch (channels) {
    case 1:
        sum_fixed(x, 1, n, turn, sum);
        return;
    case 2:
        sum_fixed(x, 2, n, turn, sum);
        return;
    case 3:
        sum_fixed(x, 3, n, turn, sum);
        return;
    case 4:
        sum_fixed(x, 4, n, turn, sum);
        return;
    case 5:
        sum_fixed(x, 5, n, turn, sum);
        return;
    case 6:
        sum_fixed(x, 6, n, turn, sum);
        return;
    case 7:
        sum_fixed(x, 7, n, turn, sum);
        return;
    case 8:
        sum_fixed(x, 8, n, turn, sum);
        return;
    default:
        break;
    }
    double r = turn[0], i = turn[1];
    for (size_t c = 0; c < 2 * channels; c++) sum[c] = 0;
    for (size_t s = 0; s < n; s++) {
        for (size_t c = 0; c < channels; c++) {
            sum[2 * c] += r * x[s * channels + c];
            sum[2 * c + 1] += i * x[s * channels + c];
        }
        double turned = r * turn[2] + i * turn[3];
        i = i * turn[2] - r * turn[3];
        r = turned;
    }
}

/* Sum of e^{-i phase} times the samples, each track's phase at the middle being `phasor`: re and im for each channel.
 */
static void sum_products(const lay_vk *vk, const lay_vk_cluster *c, const double *phasor, const double *half,
                         double *out) {
    size_t channels = (size_t)vk->options.channels, n = vk->pending;
    for (size_t k = 0; k < c->tracks; k++) {
        double *sum = out + 2 * k * channels, sc, ss, bc, bs;
        double re = phasor[2 * k], im = -phasor[2 * k + 1]; /* conjugate, turned back to the first sample */
        lay_vk_turn_to(half[k] / LAY_PI, &sc, &ss);
        lay_vk_turn_to(half[k] / LAY_PI * 0.5 * (double)(n - 1), &bc, &bs);
        double r = re * bc - im * bs, i = re * bs + im * bc;
        sum_turning(vk->samples, channels, n, (const double[4]){r, i, sc, ss}, sum);
    }
}

void lay_vk_add_piece(lay_vk *vk, const lay_vk_place *centre) {
    for (size_t i = 0; i < vk->cluster_count; i++) {
        lay_vk_cluster *c = &vk->clusters[i];
        lay_vk_phasors(vk, c, centre, vk->phasor);
        lay_vk_half_steps(vk, c, centre, vk->half);
        sum_products(vk, c, vk->phasor, vk->half, vk->product);
        lay_vk_cluster_add(c, centre->basis, vk->phasor, vk->half, vk->pending, centre->du, vk->product);
    }
    vk->pending = 0;
}
