#include "piece.h"

#include "align.h"
#include "phase.h"

#include <math.h>
#include <stdlib.h>

#define CONVINCING 4.0 /* nats of the best answer */
#define DECISIVE 10.0
#define FINE_S 1.0       /* frames for lines */
#define SHARP_S 3.0      /* and for their orders, once the path is exact */
#define KNOWN_STEP_S 0.1 /* between knots taken from a known shaft */
#define KNOWN_TO 2e-3    /* how exactly a known speed is known */

/* Frames and how far, relative, each correction of the path may reach. */
static const struct { double frame_s, range; } rounds[] = {{0.5, 0.025}, {FINE_S, 0.01}};

void lay_piece_free(lay_piece *piece) {
    if (!piece) return;
    lay_shaft_free(&piece->path);
    free(piece->seen);
    lay_apart_free(&piece->apart);
    lay_profile_free(&piece->profile);
    *piece = (lay_piece){.frames = 0};
}

/* ---- corrections ---- */

static lay_status align(const lay_chapter *c, const lay_warp *warp, double range, lay_piece *p, lay_error *err) {
    lay_profile profile = {.count = 0};
    double *log_hz = lay_calloc(warp->frames + 1, sizeof *log_hz);
    free(p->seen);
    p->seen = lay_calloc(warp->frames + 1, sizeof *p->seen);
    p->frames = p->seen ? warp->frames : 0;
    p->first_s = warp->first_s;
    p->hop_s = warp->hop_s;
    lay_status status = LAY_OK;
    if (!log_hz || !p->seen) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    if (status == LAY_OK) status = lay_profile_make(warp, &profile, err);
    if (status == LAY_OK) status = lay_align(warp, &profile, range, log_hz, p->seen, &p->found, err);
    if (status == LAY_OK && p->found > 0) {
        lay_shaft_free(&p->path);
        status = lay_chapter_shaft(c, warp->first_s, warp->hop_s, log_hz, warp->frames, &p->path, err);
    }
    free(log_hz);
    lay_profile_free(&profile);
    return status;
}

lay_status lay_piece_correct(const lay_chapter *c, lay_piece *p, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t r = 0; r < sizeof rounds / sizeof rounds[0] && status == LAY_OK; r++) {
        lay_warp warp = {.frames = 0};
        status = lay_warp_make(c, &p->path, rounds[r].frame_s, &warp, err);
        if (status == LAY_OK) status = align(c, &warp, rounds[r].range, p, err);
        lay_warp_free(&warp);
    }
    return status;
}

static lay_status last_correction(const lay_chapter *c, lay_piece *p, lay_error *err) {
    lay_warp warp = {.frames = 0};
    lay_profile profile = {.count = 0};
    lay_status status = lay_warp_make(c, &p->path, FINE_S, &warp, err);
    if (status == LAY_OK) status = lay_profile_make(&warp, &profile, err);
    if (status == LAY_OK) status = lay_phase_refine(c, &profile, warp.bin_hz, &p->path, err);
    lay_profile_free(&profile);
    lay_warp_free(&warp);
    return status;
}

/* ---- what it stands for ---- */

/* Speeds below and above which a twentieth of the path lies: its ends may stray. */
static lay_status usual_range(const lay_shaft *path, double *low, double *mean, double *high, lay_error *err) {
    double *hz = lay_calloc(path->count + 1, sizeof *hz), least, most, turns;
    if (!hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t i = 0; i < path->count; i++) hz[i] = path->hz[i];
    *low = lay_quantile(hz, path->count, 0.05);
    *high = lay_quantile(hz, path->count, 0.95);
    lay_shaft_range(path, &least, mean, &most, &turns);
    free(hz);
    return LAY_OK;
}

/* Mean spectrum and answers; `to` > 0: the path stands for itself, give or take that. */
static lay_status ask(const lay_chapter *c, const lay_track_options *options, double to, lay_piece *p, lay_error *err) {
    lay_warp warp = {.frames = 0};
    lay_track_options o = *options;
    double low = 0, mean = 0, high = 0;
    lay_profile_free(&p->profile);
    lay_status status = usual_range(&p->path, &low, &mean, &high, err);
    if (status != LAY_OK) return status;
    if (to > 0) {
        o.near_low_hz = o.low_hz = low * (1 - to);
        o.near_high_hz = o.high_hz = high * (1 + to);
        o.stated_hz = mean;
        o.stated_sd = 0.5 * to;
    }
    status = lay_warp_make(c, &p->path, SHARP_S, &warp, err);
    if (status == LAY_OK) status = lay_profile_make(&warp, &p->profile, err);
    if (status == LAY_OK) status = lay_scale_find(&p->profile, warp.bin_hz, &o, low, mean, high, &p->scale, err);
    lay_warp_free(&warp);
    return status;
}

lay_status lay_piece_judge(const lay_chapter *c, const lay_track_options *o, const lay_guide *guide, lay_piece *p,
                           lay_error *err) {
    lay_status status = last_correction(c, p, err);
    if (status == LAY_OK) status = ask(c, o, guide && guide->fitted ? LAY_GUIDE_TO : 0, p, err);
    lay_apart_free(&p->apart);
    if (status == LAY_OK && p->scale.count > 0)
        status = lay_couple_watch(c, &p->path, &p->profile, SHARP_S, o, &p->scale.answers[0], &p->apart, err);
    return status;
}

lay_status lay_piece_judge_known(const lay_chapter *c, const lay_track_options *o, lay_piece *p, lay_error *err) {
    return p->path.count > 0 ? ask(c, o, KNOWN_TO, p, err) : LAY_OK;
}

lay_status lay_piece_take(const lay_chapter *c, const lay_shaft *known, double factor, lay_piece *p, lay_error *err) {
    size_t frames = (size_t)((lay_chapter_end(c) - c->start_s) / KNOWN_STEP_S), first = frames, hint = 0;
    double *log_hz = lay_calloc(frames + 1, sizeof *log_hz), turns, hz = 0;
    if (!log_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t f = 0; f < frames; f++) {
        double t = c->start_s + ((double)f + 0.5) * KNOWN_STEP_S;
        if (lay_shaft_at(known, t, &hint, &turns, &hz) && first > f) first = f;
        log_hz[f] = hz > 0 ? log(hz * factor) : 0;
    }
    for (size_t f = 0; f < first && first < frames; f++) log_hz[f] = log_hz[first];
    lay_status status = LAY_OK;
    if (first < frames)
        status = lay_chapter_shaft(c, c->start_s + 0.5 * KNOWN_STEP_S, KNOWN_STEP_S, log_hz, frames, &p->path, err);
    free(log_hz);
    return status;
}

/* ---- comparing ---- */

double lay_piece_evidence(const lay_piece *p) {
    return p->scale.count > 0 ? p->scale.answers[0].evidence : -1e9;
}

bool lay_piece_convinces(const lay_piece *p) {
    return lay_piece_evidence(p) > CONVINCING && p->scale.answers[0].probability > 0.5;
}

bool lay_piece_decides(const lay_piece *p) {
    return lay_piece_evidence(p) > DECISIVE && p->scale.answers[0].probability > 0.9;
}

bool lay_piece_better(const lay_piece *a, const lay_piece *b) {
    double lead = lay_piece_evidence(a) - lay_piece_evidence(b);
    return fabs(lead) > LAY_PIECE_CLOSE ? lead > 0 : a->found > b->found;
}

void lay_piece_keep(lay_piece *chosen, lay_piece *out) {
    lay_piece_free(out);
    *out = *chosen;
    *chosen = (lay_piece){.frames = 0};
}
