#include "vk.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Vold-Kalman filter, second generation (Vold and Leuridan, SAE 931288, 1993; weights as in references of Tuma; both
 * from memory): the envelopes x of all tracks at once minimise |y - Re sum x e^{i phase}|^2 + r^2 |d^p x|^2.
 *
 * Envelopes change slowly against the sampling rate, so they are written in cubic B-splines whose knots lie
 * LAY_VK_KNOTS to one over the bandwidth. The gain is that of the sample-by-sample system to a hundredth of a decibel
 * in the pass band, while the system is smaller by orders of magnitude and stays well conditioned for three poles,
 * where the original one fails in doubles (derived here). It is solved in blocks with so much looked ahead that no seam
 * can be measured. */

double lay_vk_weight(int poles, double bandwidth, double rate) {
    double s = sin(LAY_PI * bandwidth / (2 * rate));
    return (sqrt(2) - 1) / pow(4 * s * s, poles);
}

/* ---- setting up ---- */

static void no_more(lay_vk *vk) {
    vk->grid.start_s = vk->grid.end_s = INFINITY;
}

static lay_status check_tracks(const lay_vk_options *o, double slowest, lay_error *err) {
    if (o->track_count == 0 || !o->tracks)
        return lay_fail(err, LAY_BAD_INPUT, "no order was named that could be followed");
    for (size_t i = 0; i < o->track_count; i++) {
        const lay_vk_track *t = &o->tracks[i];
        if (!(t->order >= 0) || !(t->hz >= 0) || !(t->order + t->hz > 0) || !isfinite(t->order + t->hz))
            return lay_fail(err, LAY_BAD_INPUT, "an order to follow must be above zero, not %g", t->order);
        if (t->order * slowest + t->hz >= 0.5 * o->rate)
            return lay_fail(
                err, LAY_BAD_INPUT,
                "order %g lies above half the sampling rate (%.0f Hz) all the way: it is not in this recording",
                t->order, 0.5 * o->rate);
    }
    return LAY_OK;
}

static lay_status check(const lay_vk_options *o, const lay_shaft *shaft, lay_error *err) {
    double low, mean, high, turns;
    if (!(o->rate > 0) || o->channels < 1 || o->poles < 0 || o->poles > 3)
        return lay_fail(err, LAY_BAD_INPUT,
                        "orders cannot be followed: rate and channels must be above zero, poles 1 to 3");
    lay_shaft_range(shaft, &low, &mean, &high, &turns);
    if (shaft->count < 2 || !(high > 0) || !(turns > 0))
        return lay_fail(err, LAY_BAD_INPUT, "the shaft does not turn in this recording: there is nothing to follow");
    double widest = o->width == LAY_VK_ORDERS ? o->bandwidth * high : o->bandwidth;
    double most = o->rate / (4 * LAY_VK_KNOTS);
    if (!(o->bandwidth > 0) || widest > most)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the filter's width of %.3g Hz must be above 0 and at most %.0f Hz at this rate", widest, most);
    return check_tracks(o, low, err);
}

static lay_status make_room(lay_vk *vk, lay_error *err) {
    size_t channels = (size_t)vk->options.channels, tracks = vk->options.track_count;
    vk->point_room = LAY_VK_CHUNK / (LAY_VK_POINT * 4) + 4; /* knots lie four samples apart at least */
    vk->sum = lay_calloc(LAY_VK_CHUNK * channels, sizeof *vk->sum);
    vk->time = lay_calloc(vk->point_room, sizeof *vk->time);
    vk->turns = lay_calloc(vk->point_room, sizeof *vk->turns);
    vk->hz = lay_calloc(vk->point_room, sizeof *vk->hz);
    vk->envelope = lay_calloc(vk->point_room * tracks * channels * 2, sizeof *vk->envelope);
    if (!vk->sum || !vk->time || !vk->turns || !vk->hz || !vk->envelope)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to follow %zu orders", tracks);
    return LAY_OK;
}

lay_status lay_vk_new(const lay_vk_options *options, const lay_shaft *shaft, lay_vk_sink sink, void *user, lay_vk **out,
                      lay_error *err) {
    *out = NULL;
    lay_status status = check(options, shaft, err);
    if (status != LAY_OK) return status;
    lay_vk *vk = lay_calloc(1, sizeof *vk);
    if (!vk) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to follow orders");
    vk->options = *options;
    if (vk->options.poles == 0) vk->options.poles = 2;
    vk->shaft = shaft;
    vk->sink = sink;
    vk->user = user;
    vk->tracks = lay_calloc(options->track_count, sizeof *vk->tracks);
    status = vk->tracks ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to follow orders");
    if (status == LAY_OK) {
        memcpy(vk->tracks, options->tracks, options->track_count * sizeof *vk->tracks);
        vk->options.tracks = vk->tracks;
        lay_vk_penalty(vk->options.poles, vk->penalty);
        status = lay_vk_plan(vk, err);
    }
    if (status == LAY_OK) status = make_room(vk, err);
    if (status != LAY_OK) {
        lay_vk_free(vk);
        return status;
    }
    if (!lay_vk_next_stretch(vk)) no_more(vk);
    *out = vk;
    return LAY_OK;
}

void lay_vk_free(lay_vk *vk) {
    if (!vk) return;
    for (size_t i = 0; vk->clusters && i < vk->cluster_count; i++) lay_vk_cluster_free(&vk->clusters[i]);
    free(vk->clusters);
    free(vk->tracks);
    free(vk->phasor);
    free(vk->half);
    free(vk->product);
    free(vk->samples);
    free(vk->sum);
    free(vk->time);
    free(vk->turns);
    free(vk->hz);
    free(vk->envelope);
    free(vk);
}

/* ---- feeding ---- */

static void begin_stretch(lay_vk *vk) {
    vk->inside = true;
    vk->interval = vk->delivered = vk->next_point = 0;
    for (size_t i = 0; i < vk->cluster_count; i++) lay_vk_cluster_restart(&vk->clusters[i]);
}

/* Solve and hand on all intervals before `upto`, and let go of them. */
static lay_status solve(lay_vk *vk, size_t upto, lay_error *err) {
    for (size_t i = 0; i < vk->cluster_count; i++) lay_vk_cluster_solve(&vk->clusters[i]);
    lay_status status = lay_vk_send(vk, upto, err);
    for (size_t i = 0; i < vk->cluster_count; i++) lay_vk_cluster_forget(&vk->clusters[i], upto);
    vk->delivered = upto;
    return status;
}

static lay_status next_interval(lay_vk *vk, lay_error *err) {
    const size_t ahead = LAY_VK_AHEAD * LAY_VK_KNOTS, block = LAY_VK_BLOCK * LAY_VK_KNOTS;
    for (size_t i = 0; i < vk->cluster_count; i++) lay_vk_cluster_next(&vk->clusters[i], vk->grid.lambda, vk->penalty);
    vk->interval++;
    if (vk->interval - vk->delivered < ahead + block) return LAY_OK;
    return solve(vk, vk->interval - ahead, err);
}

static lay_status end_stretch(lay_vk *vk, lay_error *err) {
    lay_status status = LAY_OK;
    while (vk->interval < vk->grid.intervals && status == LAY_OK) { /* the last one, or what the recording lacks */
        bool last = vk->interval + 1 == vk->grid.intervals;
        bool lacking = (double)vk->fed / vk->options.rate < vk->grid.end_s;
        status = next_interval(vk, err);
        if (lacking && !last) break;
    }
    if (status == LAY_OK) status = solve(vk, vk->interval, err);
    vk->inside = false;
    if (!lay_vk_next_stretch(vk)) no_more(vk);
    return status;
}

/* The piece that was gathered goes into its interval. */
static lay_status flush(lay_vk *vk, lay_error *err) {
    lay_vk_place place;
    lay_status status = LAY_OK;
    if (vk->pending == 0) return LAY_OK;
    double centre = ((double)vk->fed - 0.5 * (double)(vk->pending + 1)) / vk->options.rate;
    if (!lay_vk_locate(vk, centre, &vk->feed_hint, &place)) {
        vk->pending = 0;
        return LAY_OK;
    }
    while (vk->interval < place.interval && status == LAY_OK) status = next_interval(vk, err);
    lay_vk_add_piece(vk, &place);
    return status;
}

/* The recording has come to `time`: leave a stretch, enter the next. */
static lay_status come_to(lay_vk *vk, double time, lay_error *err) {
    lay_status status = LAY_OK;
    if (vk->inside && time > vk->grid.end_s) {
        status = flush(vk, err);
        if (status == LAY_OK) status = end_stretch(vk, err);
    }
    while (!vk->inside && time > vk->grid.end_s) /* shorter than a sample */
        if (!lay_vk_next_stretch(vk)) no_more(vk);
    if (!vk->inside && time >= vk->grid.start_s) begin_stretch(vk);
    return status;
}

static lay_status feed_one(lay_vk *vk, const double *sample, lay_error *err) {
    size_t channels = (size_t)vk->options.channels;
    lay_status status = come_to(vk, (double)vk->fed / vk->options.rate, err);
    if (vk->inside && status == LAY_OK) {
        double *to = vk->samples + vk->pending++ * channels;
        for (size_t c = 0; c < channels; c++) to[c] = isfinite(sample[c]) ? sample[c] : 0;
    }
    vk->fed++;
    return vk->inside && status == LAY_OK && vk->pending == vk->piece ? flush(vk, err) : status;
}

lay_status lay_vk_feed(lay_vk *vk, const double *frames, size_t count, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < count && status == LAY_OK; i++)
        status = feed_one(vk, frames + i * (size_t)vk->options.channels, err);
    if (status == LAY_OK && !vk->inside) status = lay_vk_send_silence(vk, vk->fed, err);
    return status;
}

lay_status lay_vk_finish(lay_vk *vk, lay_error *err) {
    lay_status status = vk->inside ? flush(vk, err) : LAY_OK;
    if (status == LAY_OK && vk->inside) status = end_stretch(vk, err);
    return status == LAY_OK ? lay_vk_send_silence(vk, vk->fed, err) : status;
}
