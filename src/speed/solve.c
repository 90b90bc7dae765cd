#include "solve.h"

#include "retrace.h"
#include "still.h"

#include <math.h>
#include <stdlib.h>

#define SWEEP 0.1         /* change of log speed that makes a sweep, */
#define MOST_SWEEP 3.0    /* and that no shaft makes */
#define STEADY_BETTER 1.0 /* nats */
#define LEAVES_NEAR 0.5   /* nats per frame by which a path elsewhere is better */
#define STRONG 25.0       /* nats: nothing that was left out could say more */
#define HUM_LEAD 10.0     /* nats */
#define LEAST_RATE 600.0  /* samples per second; below, no order of a shaft in use can be told */

/* ---- which path ---- */

static lay_status follow(lay_course *c, lay_way way, lay_piece *p, lay_error *err) {
    lay_status status = lay_course_find(c, way, &p->path, &p->course, err);
    if (status == LAY_OK) status = lay_piece_correct(c->chapter, p, err);
    return status == LAY_OK ? lay_piece_judge(c->chapter, c->options, c->guide, p, err) : status;
}

/* The view that suits the run first: a sweep sharpens away from slope zero. */
static size_t first_view(const lay_course *c) {
    const lay_chirp *moving = &c->views[1];
    double travelled = 0;
    for (size_t f = 0; f < moving->frames; f++) travelled += (double)moving->slope[f] * moving->hop_s;
    return fabs(travelled) > SWEEP && fabs(travelled) < MOST_SWEEP ? 1 : 0;
}

/* Where lines are too weak to be followed frame by frame, the speed may still be found if it hardly changes. */
static lay_status try_steady(lay_course *c, bool near, lay_piece *out, lay_error *err) {
    lay_piece steady = {.frames = 0};
    lay_status status = follow(c, (lay_way){0, true, near}, &steady, err);
    if (status == LAY_OK && lay_piece_evidence(&steady) > lay_piece_evidence(out) + STEADY_BETTER)
        lay_piece_keep(&steady, out);
    lay_piece_free(&steady);
    return status;
}

/* A path that changes to another alias on its way is led back by its own lines. */
static lay_status straighten(lay_course *c, size_t view, lay_piece *p, lay_error *err) {
    lay_piece other = {.frames = 0};
    bool changed;
    if (p->path.count == 0 || c->guide->fitted) return LAY_OK;
    lay_status status = lay_retrace(c->chapter, &c->views[view], &p->profile, &p->path, &other.path, &changed, err);
    if (status != LAY_OK || !changed) return status;
    other.course = p->course;
    status = lay_piece_correct(c->chapter, &other, err);
    if (status == LAY_OK) status = lay_piece_judge(c->chapter, c->options, c->guide, &other, err);
    bool explains = lay_piece_evidence(&other) > lay_piece_evidence(p) - LAY_PIECE_CLOSE;
    if (status == LAY_OK && other.found > p->found && explains) lay_piece_keep(&other, p);
    lay_piece_free(&other);
    return status;
}

static lay_status attempt(lay_course *c, bool near, lay_piece *out, lay_error *err) {
    lay_piece other = {.frames = 0};
    size_t first = first_view(c);
    *out = (lay_piece){.frames = 0};
    lay_status status = follow(c, (lay_way){first, false, near}, out, err);
    if (status == LAY_OK) status = straighten(c, first, out, err);
    if (status != LAY_OK || lay_piece_decides(out)) return status;
    status = follow(c, (lay_way){1 - first, false, near}, &other, err);
    if (status == LAY_OK && lay_piece_better(&other, out)) lay_piece_keep(&other, out);
    lay_piece_free(&other);
    return status == LAY_OK && !lay_piece_convinces(out) ? try_steady(c, near, out, err) : status;
}

/* ---- where the speed is said to be, and elsewhere ---- */

/* True when a path anywhere scores so much better that the speed cannot have stayed where it is said to be. */
static lay_status leaves_near(lay_course *c, const lay_piece *p, bool *leaves, lay_error *err) {
    lay_shaft path = {.count = 0};
    double anywhere = 0;
    size_t view = first_view(c);
    lay_status status = lay_course_find(c, (lay_way){view, false, false}, &path, &anywhere, err);
    *leaves = status == LAY_OK && anywhere - p->course > LEAVES_NEAR * (double)c->views[view].frames;
    lay_shaft_free(&path);
    return status;
}

static lay_status near_then_all(lay_course *c, lay_piece *out, lay_error *err) {
    lay_piece all = {.frames = 0};
    bool leaves = false;
    lay_status status = attempt(c, true, out, err);
    if (status == LAY_OK && lay_piece_convinces(out)) status = leaves_near(c, out, &leaves, err);
    if (status != LAY_OK || (lay_piece_convinces(out) && !leaves)) return status;
    status = attempt(c, false, &all, err);
    bool wins = leaves || lay_piece_evidence(&all) > lay_piece_evidence(out);
    if (status == LAY_OK && lay_piece_convinces(&all) && wins) lay_piece_keep(&all, out);
    lay_piece_free(&all);
    return status;
}

static lay_status find_speed(const lay_chapter *chapter, const lay_track_options *o, lay_guide *guide, lay_piece *out,
                             lay_error *err) {
    lay_course c;
    *out = (lay_piece){.frames = 0};
    lay_status status = lay_course_open(chapter, o, guide, &c, err);
    if (status == LAY_OK && c.views[0].frames > 0)
        status = o->near_low_hz > 0 ? near_then_all(&c, out, err) : attempt(&c, false, out, err);
    lay_course_close(&c);
    return status;
}

/* ---- what stands still ---- */

/* A servo holds a shaft so well that its lines look like an inverter's: they are heard after all, at a constant speed;
 * but never the hum. */
static lay_status hear_still_too(const lay_chapter *whole, const lay_track_options *o, lay_guide *guide, lay_piece *out,
                                 lay_error *err) {
    lay_course c = {.chapter = NULL};
    lay_chapter heard;
    size_t removed;
    lay_status status = lay_chapter_copy(whole, &heard, err);
    if (status == LAY_OK) status = lay_still_remove(&heard, true, &removed, err);
    if (status == LAY_OK) status = lay_course_open(&heard, o, guide, &c, err);
    if (status == LAY_OK && c.views[0].frames > 0) status = try_steady(&c, o->near_low_hz > 0, out, err);
    lay_course_close(&c);
    lay_chapter_free(&heard);
    return status;
}

/* Whether the speed of a piece also explains lines that cannot be hum. */
static lay_status stands_without_hum(const lay_chapter *clean, const lay_track_options *o, const lay_piece *p,
                                     bool *stands, lay_error *err) {
    lay_piece check = {.frames = 0};
    lay_status status = lay_piece_take(clean, &p->path, p->scale.answers[0].factor, &check, err);
    if (status == LAY_OK) status = lay_piece_judge_known(clean, o, &check, err);
    *stands = status == LAY_OK && lay_piece_convinces(&check);
    lay_piece_free(&check);
    return status;
}

/* An engine or motor may turn just as fast as the mains: what was taken for hum is heard after all where it explains
 * the unit far better, together with lines that are no hum. */
static lay_status hear_hum_too(const lay_chapter *whole, const lay_chapter *clean, const lay_track_options *o,
                               lay_guide *guide, lay_piece *out, lay_error *err) {
    lay_piece all;
    bool stands = false;
    lay_status status = find_speed(whole, o, guide, &all, err);
    if (status == LAY_OK && lay_piece_decides(&all) && lay_piece_evidence(&all) > lay_piece_evidence(out) + HUM_LEAD)
        status = stands_without_hum(clean, o, &all, &stands, err);
    if (stands) lay_piece_keep(&all, out);
    lay_piece_free(&all);
    return status;
}

/* ---- the chapter ---- */

static lay_status find_gear(const lay_chapter *chapter, const lay_track_options *o, lay_pieces *out, lay_error *err) {
    lay_piece p = {.frames = 0};
    lay_status status = lay_piece_take(chapter, o->known, 1, &p, err);
    if (status == LAY_OK) status = lay_piece_judge_known(chapter, o, &p, err);
    if (status == LAY_OK) return lay_add_piece(out, &p, err);
    lay_piece_free(&p);
    return status;
}

lay_status lay_solve_chapter(const lay_chapter *chapter, const lay_track_options *options, lay_guide *guide,
                             lay_pieces *out, lay_error *err) {
    lay_piece whole = {.frames = 0};
    lay_chapter clean;
    size_t removed = 0;
    if (chapter->wide_rate < LEAST_RATE) return lay_add_piece(out, &whole, err);
    if (options->known) return find_gear(chapter, options, out, err);
    lay_status status = lay_chapter_copy(chapter, &clean, err);
    if (status == LAY_OK) status = lay_still_remove(&clean, false, &removed, err);
    if (status == LAY_OK) status = find_speed(&clean, options, guide, &whole, err);
    if (status == LAY_OK && removed > 0 && !lay_piece_convinces(&whole))
        status = hear_still_too(chapter, options, guide, &whole, err);
    if (status == LAY_OK && removed > 0 && lay_piece_evidence(&whole) < STRONG)
        status = hear_hum_too(chapter, &clean, options, guide, &whole, err);
    if (status == LAY_OK)
        status = lay_piece_convinces(&whole) ? lay_add_stretches(&clean, options, guide, &whole, out, err)
                                             : lay_add_piece(out, &whole, err);
    lay_piece_free(&whole);
    lay_chapter_free(&clean);
    return status;
}
