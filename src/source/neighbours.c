#include "neighbours.h"

#include <math.h>

#define NEAR 2.5  /* widths: a filter of two poles takes 44 dB off what lies so far away */
#define SAME 0.25 /* widths: nearer lines are the order itself */

static double nearest(const lay_vk_track *tracks, size_t count, double order) {
    double least = INFINITY;
    for (size_t i = 0; i < count; i++) least = fmin(least, fabs(tracks[i].order - order));
    return least;
}

size_t lay_tracks_add_neighbours(const lay_run_evidence *run, double width, lay_vk_track *tracks, size_t count) {
    size_t n = count;
    for (size_t i = 0; i < run->line_count && n < LAY_TRACKS_MAX; i++) {
        const lay_explained_line *l = &run->lines[i];
        double order = l->claim_count && l->claims[0].class_ != LAY_LINE_UNKNOWN ? l->claims[0].order : l->line.order;
        if (l->claim_count && l->claims[0].class_ == LAY_LINE_FIXED_HZ) continue;
        if (nearest(tracks, count, order) < NEAR * width && nearest(tracks, n, order) > SAME * width)
            tracks[n++] = (lay_vk_track){order, 0};
    }
    return n;
}
