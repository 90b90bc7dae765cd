/* What was solved goes out: the tracks as a signal again, and their envelopes. */
#include "vk.h"

#include <math.h>
#include <string.h>

static lay_status hand_on(lay_vk *vk, size_t frames, size_t points, lay_error *err) {
    if (frames == 0) return LAY_OK;
    lay_vk_block block = {.first_frame = vk->sent,
                          .frames = frames,
                          .sum = vk->options.envelopes_only ? NULL : vk->sum,
                          .points = points,
                          .time = vk->time,
                          .turns = vk->turns,
                          .hz = vk->hz,
                          .envelope = vk->envelope};
    lay_status status = vk->sink(&block, vk->user, err);
    vk->sent += (int64_t)frames;
    return status;
}

lay_status lay_vk_send_silence(lay_vk *vk, int64_t upto, lay_error *err) {
    lay_status status = LAY_OK;
    memset(vk->sum, 0, LAY_VK_CHUNK * (size_t)vk->options.channels * sizeof *vk->sum);
    while (vk->sent < upto && status == LAY_OK) {
        size_t frames = upto - vk->sent < LAY_VK_CHUNK ? (size_t)(upto - vk->sent) : LAY_VK_CHUNK;
        status = hand_on(vk, frames, 0, err);
    }
    return status;
}

static void add_frame(lay_vk *vk, const lay_vk_place *place, double *out) {
    double value[2];
    for (size_t i = 0; i < vk->cluster_count; i++) {
        const lay_vk_cluster *c = &vk->clusters[i];
        lay_vk_phasors(vk, c, place, vk->phasor);
        for (size_t k = 0; k < c->tracks; k++) {
            if (vk->options.summed && c->track[k] >= vk->options.summed) continue;
            for (size_t ch = 0; ch < c->channels; ch++) {
                lay_vk_cluster_value(c, place->interval, place->basis, k, ch, value);
                out[ch] += value[0] * vk->phasor[2 * k] - value[1] * vk->phasor[2 * k + 1];
            }
        }
    }
}

/* ---- envelopes ---- */

static bool point_place(const lay_vk *vk, size_t knot, double *time, double *turns, double *hz) {
    const lay_vk_grid *g = &vk->grid;
    double u = (double)knot * g->step;
    if (vk->options.width == LAY_VK_HZ)
        *time = g->start_s + u;
    else if (!lay_shaft_time(vk->shaft, g->segment, g->start_turns + u, NULL, time))
        return false;
    return lay_shaft_at(vk->shaft, *time, NULL, turns, hz);
}

static void put_point(lay_vk *vk, size_t knot, size_t at) {
    size_t channels = (size_t)vk->options.channels;
    double basis[LAY_VK_SUPPORT], half = 0.5 * vk->options.rate;
    lay_vk_basis(0, basis);
    for (size_t i = 0; i < vk->cluster_count; i++) {
        const lay_vk_cluster *c = &vk->clusters[i];
        for (size_t k = 0; k < c->tracks; k++) {
            const lay_vk_track *track = &vk->tracks[c->track[k]];
            bool heard = track->order * vk->hz[at] + track->hz < half;
            for (size_t ch = 0; ch < channels; ch++) {
                double *out = vk->envelope + ((at * vk->options.track_count + c->track[k]) * channels + ch) * 2;
                lay_vk_cluster_value(c, knot, basis, k, ch, out);
                if (!heard) out[0] = out[1] = 0;
            }
        }
    }
}

/* The points before frame `end` and interval `upto`. */
static size_t put_points(lay_vk *vk, int64_t end, size_t upto) {
    size_t n = 0;
    for (; vk->next_point < upto && n < vk->point_room; vk->next_point += LAY_VK_POINT) {
        double time, turns, hz;
        if (!point_place(vk, vk->next_point, &time, &turns, &hz)) continue;
        if (time * vk->options.rate >= (double)end) break;
        vk->time[n] = time;
        vk->turns[n] = turns;
        vk->hz[n] = hz;
        put_point(vk, vk->next_point, n++);
    }
    return n;
}

lay_status lay_vk_send(lay_vk *vk, size_t upto, lay_error *err) {
    size_t channels = (size_t)vk->options.channels;
    lay_status status = LAY_OK;
    bool more = true;
    while (more && status == LAY_OK) {
        size_t frames = 0;
        memset(vk->sum, 0, LAY_VK_CHUNK * channels * sizeof *vk->sum);
        for (; frames < LAY_VK_CHUNK && vk->sent + (int64_t)frames < vk->fed; frames++) {
            lay_vk_place place;
            double time = (double)(vk->sent + (int64_t)frames) / vk->options.rate;
            if (!lay_vk_locate(vk, time, &vk->send_hint, &place)) {
                if (time < vk->grid.start_s) continue;
                break;
            }
            if (place.interval >= upto) break;
            if (!vk->options.envelopes_only) add_frame(vk, &place, vk->sum + frames * channels);
        }
        more = frames == LAY_VK_CHUNK;
        status = hand_on(vk, frames, put_points(vk, vk->sent + (int64_t)frames, upto), err);
    }
    return status;
}
