/* Which tracks are solved together: those that come so close somewhere that one would leak into the other. */
#include "vk.h"

#include <math.h>
#include <stdlib.h>

#define CLOSE 4.5 /* bandwidths; two poles take 69 dB off what lies so far away */

/* Least distance of two tracks over the speeds of the shaft, in units of the bandwidth. */
static double least_distance(const lay_vk *vk, const lay_vk_track *a, const lay_vk_track *b, double low, double high) {
    bool orders = vk->options.width == LAY_VK_ORDERS;
    double at_low = (a->order - b->order) * low + a->hz - b->hz, at_high = (a->order - b->order) * high + a->hz - b->hz;
    if ((at_low < 0) != (at_high < 0)) return 0;
    double least = orders ? fmin(fabs(at_low) / low, fabs(at_high) / high) : fmin(fabs(at_low), fabs(at_high));
    return least / vk->options.bandwidth;
}

/* Every track gets the number of its cluster; numbers of merged ones vanish. */
static void group(const lay_vk *vk, size_t *of) {
    double low, mean, high, turns;
    size_t n = vk->options.track_count;
    lay_shaft_range(vk->shaft, &low, &mean, &high, &turns);
    low = fmax(low, 1e-3);
    for (size_t i = 0; i < n; i++) of[i] = i;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++) {
            if (of[i] == of[j] || least_distance(vk, &vk->tracks[i], &vk->tracks[j], low, high) >= CLOSE) continue;
            size_t gone = of[i], kept = of[j];
            for (size_t k = 0; k < n; k++)
                if (of[k] == gone) of[k] = kept;
        }
}

lay_status lay_vk_plan(lay_vk *vk, lay_error *err) {
    size_t n = vk->options.track_count, largest = 0, capacity = (LAY_VK_AHEAD + LAY_VK_BLOCK + 2) * LAY_VK_KNOTS;
    size_t *of = lay_calloc(n, sizeof *of), *members = lay_calloc(n, sizeof *members);
    vk->clusters = lay_calloc(n, sizeof *vk->clusters);
    lay_status status =
        of && members && vk->clusters ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to follow orders");
    if (status == LAY_OK) group(vk, of);
    for (size_t i = 0; i < n && status == LAY_OK; i++) {
        size_t count = 0;
        for (size_t k = 0; k < n; k++)
            if (of[k] == i) members[count++] = k;
        if (count == 0) continue;
        if (count > largest) largest = count;
        status = lay_vk_cluster_init(&vk->clusters[vk->cluster_count++], members, count, (size_t)vk->options.channels,
                                     capacity, err);
    }
    free(of);
    free(members);
    if (status != LAY_OK) return status;
    size_t channels = (size_t)vk->options.channels;
    vk->phasor = lay_calloc(2 * largest, sizeof *vk->phasor);
    vk->half = lay_calloc(largest, sizeof *vk->half);
    vk->product = lay_calloc(2 * largest * channels, sizeof *vk->product);
    vk->samples = lay_calloc(LAY_VK_PIECE * channels, sizeof *vk->samples);
    if (vk->phasor && vk->half && vk->product && vk->samples) return LAY_OK;
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to follow orders");
}
