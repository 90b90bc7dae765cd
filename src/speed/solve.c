/* 1. Short spectra are freed of the change of speed within them (chirp.c) and scored by the unit's orders at every
 * speed (comb.c); the best path through time is proportional to the truth more often than it is the truth.
 * 2. Along that path all lines locked to the shaft stand still, whichever order they are; they correct the path
 * (align.c, phase.c).
 * 3. On the mean spectrum along the path the unit's orders are sought once more, at every scale and in every gear:
 * there the aliases part (scale.c). */
#include "solve.h"

#include "align.h"
#include "comb.h"
#include "couple.h"
#include "phase.h"
#include "retrace.h"
#include "still.h"

#include <math.h>
#include <stdlib.h>

#define GRID_STEP 2.5e-3
#define MOST_CANDIDATES 4000
#define SPEED_SD 0.004 /* usual departure from the slope's forecast, per frame */
#define CONVINCING 4.0 /* nats of the best answer */
#define CLOSE 2.5      /* nats within which two paths explain the unit equally well */
#define DECISIVE 10.0  /* no other view needs to be tried */
#define SWEEP 0.1      /* change of log speed that makes a sweep */
#define LOG_TO 0.06    /* how far, in log speed, a log may be off once its clock is found */
#define CLOSED 1000.0f
#define HEARD 0.5        /* share of the usual evidence that a frame must hold for its lines to be heard */
#define LEAVES_NEAR 0.5  /* nats per frame by which a path elsewhere is better */
#define STRONG 25.0      /* nats: nothing that was left out could say more */
#define HUM_LEAD 10.0    /* nats */
#define LEAST_RATE 600.0 /* samples per second; below, no order of a shaft in use can be told */
#define LEAST_PIECE_S 2.5
#define KNOWN_TO 2e-3     /* how exactly a known speed is known */
#define STEADY_SD 0.0006  /* the same of a steady run */
#define STEADY_BETTER 1.0 /* nats */
#define FINE_S 1.0        /* frames for lines */
#define SHARP_S 3.0       /* and for their orders, once the path is exact */

/* Frames and how far, relative, each correction of the path may reach. */
static const struct { double frame_s, range; } rounds[] = {{0.5, 0.025}, {FINE_S, 0.01}};

void lay_piece_free(lay_piece *piece) {
    if (!piece) return;
    lay_shaft_free(&piece->path);
    free(piece->seen);
    free(piece->apart);
    lay_profile_free(&piece->profile);
    *piece = (lay_piece){0};
}

/* What the attempts at one chapter share. */
typedef struct work {
    const lay_chapter *chapter;
    const lay_track_options *options;
    lay_guide *guide;
    lay_chirp views[LAY_CHIRP_VIEWS];
    lay_grid grid;
    float *score[LAY_CHIRP_VIEWS]; /* [frames * grid.count], made when first needed */
} work;

/* ---- the first path ---- */

static void close_work(work *w) {
    for (size_t v = 0; v < LAY_CHIRP_VIEWS; v++) {
        lay_chirp_free(&w->views[v]);
        free(w->score[v]);
    }
}

static lay_status open_work(const lay_chapter *c, const lay_track_options *o, lay_guide *guide, work *w,
                            lay_error *err) {
    double span = log(o->high_hz / o->low_hz), step = fmax(GRID_STEP, span / MOST_CANDIDATES);
    *w = (work){.chapter = c, .options = o, .guide = guide};
    w->grid = (lay_grid){o->low_hz, step, (size_t)ceil(span / step) + 1};
    return lay_chirp_make(c, w->views, err);
}

/* Find the log's clock unless it is known; why not goes to the guide. */
static lay_status fit_log(work *w, size_t v, lay_error *err) {
    const lay_chirp *chirp = &w->views[v];
    lay_guide *guide = w->guide;
    if (guide->fitted) return LAY_OK;
    lay_speed_scores scores = {w->score[v],  chirp->frames,  w->grid.count, chirp->first_s,
                               chirp->hop_s, w->grid.low_hz, w->grid.step};
    guide->why_not = (lay_error){0};
    lay_status status = lay_log_align(w->options->log, &scores, NULL, &guide->fit, &guide->why_not);
    if (status == LAY_NO_MEMORY) return lay_fail(err, status, "%s", guide->why_not.message);
    guide->fitted = status == LAY_OK && (guide->fit.confidence >= 0.5 || guide->fit.flat);
    return LAY_OK;
}

/* Close the table to speeds that are not about the logged ones. */
static void keep_to_log(work *w, size_t v) {
    const lay_chirp *chirp = &w->views[v];
    const lay_log_fit *fit = &w->guide->fit;
    for (size_t f = 0; f < chirp->frames; f++) {
        double hz, t = chirp->first_s + (double)f * chirp->hop_s;
        if (!lay_log_at(w->options->log, fit->offset_s, fit->drift, t, &hz) || hz <= 0) continue;
        for (size_t k = 0; k < w->grid.count; k++)
            if (fabs(log(w->grid.low_hz / hz) + (double)k * w->grid.step) > LOG_TO)
                w->score[v][f * w->grid.count + k] -= CLOSED;
    }
}

static lay_status make_table(work *w, size_t v, lay_error *err) {
    if (w->score[v]) return LAY_OK;
    w->score[v] = lay_calloc(w->views[v].frames * w->grid.count + 1, sizeof *w->score[v]);
    if (!w->score[v]) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = lay_comb_score(&w->views[v], w->options, &w->grid, w->score[v], err);
    if (status == LAY_OK && w->options->log) status = fit_log(w, v, err);
    if (status == LAY_OK && w->guide->fitted) keep_to_log(w, v);
    return status;
}

/* How a path is sought. */
typedef struct way {
    size_t view;
    bool steady; /* as if the speed hardly changed */
    bool near;   /* only where the speed is said to be */
} way;

/* First and last candidate that may be taken. */
static void limits(const work *w, bool near, size_t *first, size_t *count) {
    *first = 0;
    *count = w->grid.count;
    if (!near) return;
    double from = log(w->options->near_low_hz / w->grid.low_hz) / w->grid.step;
    double to = log(w->options->near_high_hz / w->grid.low_hz) / w->grid.step;
    *first = (size_t)fmax(0, fmin(floor(from), (double)w->grid.count - 2));
    *count = (size_t)fmin((double)(w->grid.count - *first), fmax(2, ceil(to) - (double)*first + 1));
}

static lay_status first_path(work *w, way how, lay_shaft *out, double *total, lay_error *err) {
    const lay_chirp *chirp = &w->views[how.view];
    size_t first, count, *path = lay_calloc(chirp->frames + 1, sizeof *path);
    double *log_hz = lay_calloc(2 * chirp->frames + 1, sizeof *log_hz), *drift = log_hz + chirp->frames;
    lay_status status = make_table(w, how.view, err);
    if (status == LAY_OK && (!path || !log_hz))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t f = 1; f < chirp->frames && status == LAY_OK && !how.steady; f++)
        drift[f] = 0.5 * ((double)chirp->slope[f - 1] + (double)chirp->slope[f]) * chirp->hop_s / w->grid.step;
    limits(w, how.near, &first, &count);
    if (status == LAY_OK)
        status = lay_path_find(w->score[how.view] + first, chirp->frames, w->grid.count, count, drift,
                               (how.steady ? STEADY_SD : SPEED_SD) / w->grid.step, path, total, err);
    for (size_t f = 0; f < chirp->frames && status == LAY_OK; f++)
        log_hz[f] = log(w->grid.low_hz) + (double)(first + path[f]) * w->grid.step;
    if (status == LAY_OK)
        status = lay_chapter_shaft(w->chapter, chirp->first_s, chirp->hop_s, log_hz, chirp->frames, out, err);
    free(path);
    free(log_hz);
    return status;
}

/* ---- its corrections ---- */

static lay_status improve(const lay_chapter *c, double frame_s, double range, lay_piece *p, lay_error *err) {
    lay_warp warp = {0};
    lay_profile profile = {0};
    lay_status status = lay_warp_make(c, &p->path, frame_s, &warp, err);
    double *log_hz = lay_calloc(2 * warp.frames + 1, sizeof *log_hz), *sd = log_hz + warp.frames;
    free(p->seen);
    p->seen = lay_calloc(warp.frames + 1, sizeof *p->seen);
    p->frames = warp.frames;
    p->first_s = warp.first_s;
    p->hop_s = warp.hop_s;
    if (status == LAY_OK && (!log_hz || !p->seen))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    if (status == LAY_OK) status = lay_profile_make(&warp, &profile, err);
    if (status == LAY_OK) status = lay_align(&warp, &profile, range, log_hz, sd, p->seen, &p->found, err);
    if (status == LAY_OK && p->found > 0) {
        lay_shaft_free(&p->path);
        status = lay_chapter_shaft(c, warp.first_s, warp.hop_s, log_hz, warp.frames, &p->path, err);
    }
    free(log_hz);
    lay_profile_free(&profile);
    lay_warp_free(&warp);
    return status;
}

static lay_status last_correction(const lay_chapter *c, lay_piece *p, lay_error *err) {
    lay_warp warp = {0};
    lay_profile profile = {0};
    lay_status status = lay_warp_make(c, &p->path, FINE_S, &warp, err);
    if (status == LAY_OK) status = lay_profile_make(&warp, &profile, err);
    if (status == LAY_OK) status = lay_phase_refine(c, &profile, warp.bin_hz, &p->path, err);
    lay_profile_free(&profile);
    lay_warp_free(&warp);
    return status;
}

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

/* What the path stands for. */
static lay_status judge(const lay_chapter *c, const lay_track_options *o, const lay_guide *guide, lay_piece *p,
                        lay_error *err) {
    lay_warp warp = {0};
    double low, mean, high;
    lay_status status = o->known ? LAY_OK : last_correction(c, p, err);
    if (status == LAY_OK) status = usual_range(&p->path, &low, &mean, &high, err);
    if (status != LAY_OK) return status;
    lay_track_options about = *o;
    if (guide && guide->fitted) { /* then the path stands for itself */
        about.near_low_hz = about.low_hz = low * (1 - LOG_TO);
        about.near_high_hz = about.high_hz = high * (1 + LOG_TO);
        about.stated_hz = mean;
        about.stated_sd = 0.5 * LOG_TO;
    }
    lay_profile_free(&p->profile);
    status = lay_warp_make(c, &p->path, SHARP_S, &warp, err);
    if (status == LAY_OK) status = lay_profile_make(&warp, &p->profile, err);
    if (status == LAY_OK) status = lay_scale_find(&p->profile, warp.bin_hz, &about, low, mean, high, &p->scale, err);
    free(p->apart);
    p->apart = NULL;
    if (status == LAY_OK && !o->known && p->scale.count > 0)
        status = lay_couple_watch(c, &p->path, &p->profile, SHARP_S, o, &p->scale.answers[0], &p->apart,
                                  &p->apart_frames, &p->apart_first_s, &p->apart_hop_s, err);
    lay_warp_free(&warp);
    return status;
}

static lay_status correct(const work *w, lay_piece *p, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t r = 0; r < sizeof rounds / sizeof rounds[0] && status == LAY_OK; r++)
        status = improve(w->chapter, rounds[r].frame_s, rounds[r].range, p, err);
    return status;
}

static lay_status follow(work *w, way how, lay_piece *p, lay_error *err) {
    lay_status status = first_path(w, how, &p->path, &p->course, err);
    return status == LAY_OK ? correct(w, p, err) : status;
}

/* ---- which path ---- */

static double evidence_of(const lay_piece *p) {
    return p->scale.count > 0 ? p->scale.answers[0].evidence : -1e9;
}

static bool convincing(const lay_piece *p) {
    return evidence_of(p) > CONVINCING && p->scale.answers[0].probability > 0.5;
}

static bool decisive(const lay_piece *p) {
    return evidence_of(p) > DECISIVE && p->scale.answers[0].probability > 0.9;
}

/* The lines a path has gathered decide only between paths that explain the unit about equally well: a path that follows
 * a stranger may gather more. */
static bool better(const lay_piece *a, const lay_piece *b) {
    double lead = evidence_of(a) - evidence_of(b);
    return fabs(lead) > CLOSE ? lead > 0 : a->found > b->found;
}

static void keep(lay_piece *chosen, lay_piece *out) {
    lay_piece_free(out);
    *out = *chosen;
    *chosen = (lay_piece){.frames = 0};
}

/* The view that suits the run first: a sweep sharpens away from slope zero. */
static size_t first_view(const work *w) {
    double travelled = 0;
    for (size_t f = 0; f < w->views[1].frames; f++) travelled += (double)w->views[1].slope[f] * w->views[1].hop_s;
    bool sweeps = fabs(travelled) > SWEEP && fabs(travelled) < 3;
    return sweeps ? 1 : 0;
}

/* Where lines are too weak to be followed frame by frame, the speed may still be found if it hardly changes. */
static lay_status try_steady(work *w, bool near, lay_piece *out, lay_error *err) {
    lay_piece steady = {.frames = 0};
    lay_status status = follow(w, (way){0, true, near}, &steady, err);
    if (status == LAY_OK) status = judge(w->chapter, w->options, w->guide, &steady, err);
    if (status == LAY_OK && evidence_of(&steady) > evidence_of(out) + STEADY_BETTER) keep(&steady, out);
    lay_piece_free(&steady);
    return status;
}

/* A path that changes to another alias on its way is led back by its own lines. */
static lay_status straighten(work *w, way how, lay_piece *p, lay_error *err) {
    lay_piece other = {.frames = 0};
    bool changed;
    if (p->path.count == 0 || w->guide->fitted) return LAY_OK;
    lay_status status = lay_retrace(w->chapter, &w->views[how.view], &p->profile, how.steady ? STEADY_SD : SPEED_SD,
                                    &p->path, &other.path, &changed, err);
    if (status != LAY_OK || !changed) return status;
    status = correct(w, &other, err);
    if (status == LAY_OK) status = judge(w->chapter, w->options, w->guide, &other, err);
    if (status == LAY_OK && other.found > p->found && evidence_of(&other) > evidence_of(p) - CLOSE) keep(&other, p);
    lay_piece_free(&other);
    return status;
}

static lay_status attempt(work *w, bool near, lay_piece *out, lay_error *err) {
    lay_piece other = {.frames = 0};
    size_t first = first_view(w);
    *out = (lay_piece){.frames = 0};
    lay_status status = follow(w, (way){first, false, near}, out, err);
    if (status == LAY_OK) status = judge(w->chapter, w->options, w->guide, out, err);
    if (status == LAY_OK) status = straighten(w, (way){first, false, near}, out, err);
    if (status != LAY_OK || decisive(out)) return status;
    status = follow(w, (way){1 - first, false, near}, &other, err);
    if (status == LAY_OK) status = judge(w->chapter, w->options, w->guide, &other, err);
    if (status == LAY_OK && better(&other, out)) keep(&other, out);
    lay_piece_free(&other);
    return status == LAY_OK && !convincing(out) ? try_steady(w, near, out, err) : status;
}

/* True when a path anywhere scores so much better that the speed cannot have stayed where it is said to be. */
static lay_status leaves_near(work *w, const lay_piece *p, bool *leaves, lay_error *err) {
    lay_shaft path = {.count = 0};
    double anywhere = 0;
    size_t view = first_view(w);
    lay_status status = first_path(w, (way){view, false, false}, &path, &anywhere, err);
    *leaves = status == LAY_OK && anywhere - p->course > LEAVES_NEAR * (double)w->views[view].frames;
    lay_shaft_free(&path);
    return status;
}

/* Where somebody says the speed is first, then everywhere. */
static lay_status near_then_all(work *w, lay_piece *out, lay_error *err) {
    lay_piece all = {.frames = 0};
    bool leaves = false;
    lay_status status = attempt(w, true, out, err);
    if (status == LAY_OK && convincing(out)) status = leaves_near(w, out, &leaves, err);
    if (status != LAY_OK || (convincing(out) && !leaves)) return status;
    status = attempt(w, false, &all, err);
    if (status == LAY_OK && convincing(&all) && (leaves || evidence_of(&all) > evidence_of(out))) keep(&all, out);
    lay_piece_free(&all);
    return status;
}

/* The known speed on even knots; gaps are bridged straight. */
static lay_status known_path(const lay_chapter *c, const lay_shaft *known, lay_piece *p, lay_error *err) {
    const double step = 0.1;
    size_t frames = (size_t)((lay_chapter_end(c) - c->start_s) / step), hint = 0;
    double *log_hz = lay_calloc(frames + 1, sizeof *log_hz), turns, hz = 0;
    if (!log_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the gear");
    size_t first = frames;
    for (size_t f = 0; f < frames; f++) {
        if (lay_shaft_at(known, c->start_s + ((double)f + 0.5) * step, &hint, &turns, &hz) && first > f) first = f;
        log_hz[f] = hz > 0 ? log(hz) : 0;
    }
    for (size_t f = 0; f < first && first < frames; f++) log_hz[f] = log_hz[first];
    lay_status status = LAY_OK;
    if (first < frames) status = lay_chapter_shaft(c, c->start_s + 0.5 * step, step, log_hz, frames, &p->path, err);
    free(log_hz);
    return status;
}

static lay_status known_speed(const lay_chapter *c, const lay_track_options *o, lay_piece *out, lay_error *err) {
    *out = (lay_piece){.frames = 0};
    lay_status status = known_path(c, o->known, out, err);
    if (status != LAY_OK || out->path.count == 0) return status;
    double low, mean, high;
    status = usual_range(&out->path, &low, &mean, &high, err);
    if (status != LAY_OK) return status;
    lay_track_options exact = *o;
    exact.low_hz = low * (1 - KNOWN_TO);
    exact.high_hz = high * (1 + KNOWN_TO);
    return judge(c, &exact, NULL, out, err);
}

static lay_status find_speed(const lay_chapter *c, const lay_track_options *o, lay_guide *guide, lay_piece *out,
                             lay_error *err) {
    work w;
    *out = (lay_piece){.frames = 0};
    lay_status status = open_work(c, o, guide, &w, err);
    if (status == LAY_OK && w.views[0].frames > 0)
        status = o->near_low_hz > 0 ? near_then_all(&w, out, err) : attempt(&w, false, out, err);
    close_work(&w);
    return status;
}

/* A servo holds a shaft so well that its lines look like an inverter's: where nothing convincing is left without the
 * still tones, they are heard after all, at a constant speed; but never the hum. */
static lay_status hear_still_too(const lay_chapter *whole, const lay_track_options *o, lay_guide *guide, lay_piece *out,
                                 lay_error *err) {
    work w = {.chapter = NULL};
    lay_chapter heard;
    size_t removed;
    lay_status status = lay_chapter_copy(whole, &heard, err);
    if (status == LAY_OK) status = lay_still_remove(&heard, true, &removed, err);
    if (status == LAY_OK) status = open_work(&heard, o, guide, &w, err);
    if (status == LAY_OK && w.views[0].frames > 0) status = try_steady(&w, o->near_low_hz > 0, out, err);
    close_work(&w);
    lay_chapter_free(&heard);
    return status;
}

/* Whether a speed also explains lines that cannot be hum. */
static lay_status stands_without_hum(const lay_chapter *clean, const lay_track_options *o, const lay_piece *p,
                                     bool *stands, lay_error *err) {
    lay_piece check = {.frames = 0};
    lay_track_options at = *o;
    lay_shaft speed = p->path; /* borrowed; scaled and scaled back */
    double factor = p->scale.answers[0].factor;
    at.known = &speed;
    for (size_t i = 0; i < speed.count; i++) speed.hz[i] *= factor, speed.turns[i] *= factor;
    lay_status status = known_speed(clean, &at, &check, err);
    for (size_t i = 0; i < speed.count; i++) speed.hz[i] /= factor, speed.turns[i] /= factor;
    *stands = status == LAY_OK && evidence_of(&check) > CONVINCING;
    lay_piece_free(&check);
    return status;
}

/* An engine or motor may turn just as fast as the mains: what was taken for hum is heard after all where it explains
 * the unit far better, together with lines that are no hum. */
static lay_status hear_all(const lay_chapter *whole, const lay_chapter *clean, const lay_track_options *o,
                           lay_guide *guide, lay_piece *out, lay_error *err) {
    lay_piece all;
    bool stands = false;
    lay_status status = find_speed(whole, o, guide, &all, err);
    if (status == LAY_OK && decisive(&all) && evidence_of(&all) > evidence_of(out) + HUM_LEAD)
        status = stands_without_hum(clean, o, &all, &stands, err);
    if (stands) keep(&all, out);
    lay_piece_free(&all);
    return status;
}

/* ---- pieces ---- */

/* From frame *f on the next stretch in which the lines are heard; false when there is none. Silences of one frame are
 * bridged. */
static bool next_stretch(const lay_piece *p, size_t *f, size_t *first, size_t *end) {
    while (*f < p->frames && p->seen[*f] < HEARD) (*f)++;
    *first = *end = *f;
    while (*f < p->frames) {
        bool quiet = p->seen[*f] < HEARD, next = *f + 1 < p->frames && p->seen[*f + 1] < HEARD;
        if (quiet && next) break;
        (*f)++;
        if (!quiet) *end = *f;
    }
    return *end > *first;
}

/* A part of a chapter; it borrows the samples. */
static lay_chapter part_of(const lay_chapter *c, double from_s, double to_s) {
    lay_chapter part = *c;
    double rate = 0.5 * c->wide_rate;
    size_t first = (size_t)fmax(0, (from_s - c->start_s) * rate), last = (size_t)fmax(0, (to_s - c->start_s) * rate);
    if (last > c->narrow_count) last = c->narrow_count;
    if (first > last) first = last;
    part.start_s = c->start_s + (double)first / rate;
    part.narrow += first;
    part.wide += 2 * first;
    part.narrow_count = last - first;
    part.wide_count = 2 * (last - first) < c->wide_count - 2 * first ? 2 * (last - first) : c->wide_count - 2 * first;
    return part;
}

static lay_status add_piece(lay_pieces *pieces, lay_piece *p, lay_error *err) {
    lay_status status = lay_grow((void **)&pieces->items, &pieces->capacity, pieces->count, sizeof *p, err);
    if (status == LAY_OK) {
        pieces->items[pieces->count++] = *p;
        *p = (lay_piece){.frames = 0};
    }
    return status;
}

/* What stands between silences may be another alias of the speed than the rest: each stretch is judged by itself. */
static lay_status split(const lay_chapter *c, const lay_track_options *o, const lay_guide *guide, lay_piece *whole,
                        lay_pieces *out, lay_error *err) {
    lay_status status = LAY_OK;
    size_t f = 0, first, end;
    while (status == LAY_OK && next_stretch(whole, &f, &first, &end)) {
        double from = whole->first_s + ((double)first - 0.5) * whole->hop_s;
        double to = whole->first_s + ((double)end - 0.5) * whole->hop_s;
        if (first == 0) from = c->start_s;
        if (end == whole->frames) to = lay_chapter_end(c);
        if (to - from < LEAST_PIECE_S) continue;
        lay_chapter part = part_of(c, from, to);
        lay_piece p = {.found = whole->found * (to - from) / (lay_chapter_end(c) - c->start_s)};
        status = known_path(&part, &whole->path, &p, err);
        if (status == LAY_OK && p.path.count > 0) status = judge(&part, o, guide, &p, err);
        if (status == LAY_OK) status = add_piece(out, &p, err);
        lay_piece_free(&p);
    }
    return status;
}

static bool broken(const lay_piece *p) {
    size_t f = 0, first, end;
    return p->frames > 0 && next_stretch(p, &f, &first, &end) && (first > 0 || end < p->frames);
}

lay_status lay_solve_chapter(const lay_chapter *chapter, const lay_track_options *options, lay_guide *guide,
                             lay_pieces *out, lay_error *err) {
    lay_piece whole = {.frames = 0};
    if (chapter->wide_rate < LEAST_RATE) return add_piece(out, &whole, err);
    if (options->known) {
        lay_status status = known_speed(chapter, options, &whole, err);
        if (status == LAY_OK) status = add_piece(out, &whole, err);
        lay_piece_free(&whole);
        return status;
    }
    lay_chapter clean;
    size_t removed = 0;
    lay_status status = lay_chapter_copy(chapter, &clean, err);
    if (status == LAY_OK) status = lay_still_remove(&clean, false, &removed, err);
    if (status == LAY_OK) status = find_speed(&clean, options, guide, &whole, err);
    if (status == LAY_OK && removed > 0 && !convincing(&whole))
        status = hear_still_too(chapter, options, guide, &whole, err);
    if (status == LAY_OK && removed > 0 && evidence_of(&whole) < STRONG)
        status = hear_all(chapter, &clean, options, guide, &whole, err);
    if (status == LAY_OK)
        status = convincing(&whole) && broken(&whole) ? split(&clean, options, guide, &whole, out, err)
                                                      : add_piece(out, &whole, err);
    lay_piece_free(&whole);
    lay_chapter_free(&clean);
    return status;
}
