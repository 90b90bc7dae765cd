/* Some samples at once: over a piece so short that envelopes are constant and phases turn evenly, sums over samples of
 * products of cosines and sines are known in closed form, and only the samples' own products with each track have to be
 * summed. */
#include "vk.h"

#include <math.h>

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
        for (size_t ch = 0; ch < 2 * channels; ch++) sum[ch] = 0;
        for (size_t s = 0; s < n; s++) {
            for (size_t ch = 0; ch < channels; ch++) {
                sum[2 * ch] += r * vk->samples[s * channels + ch];
                sum[2 * ch + 1] += i * vk->samples[s * channels + ch];
            }
            double turned = r * sc + i * ss; /* times the conjugate step */
            i = i * sc - r * ss;
            r = turned;
        }
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
