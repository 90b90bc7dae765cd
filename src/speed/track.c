/* Shaft speed from the recording itself: chapters of the recording are solved one by one (solve.c) and joined (join.c),
 * so that memory does not grow with its length. */
#include "join.h"

#include <math.h>
#include <stdlib.h>

#define CHAPTER_S 100.0
#define STEP 8192 /* frames */
#define OVERLAP_S 6.0
#define WIDE_RATE 16000.0 /* wide rates lie between half of this and this */

struct lay_track {
    lay_track_options options;
    lay_track_gear *gears; /* own copies */
    lay_track_order *orders;
    lay_pyramid pyramid;
    int level; /* of the pyramid that becomes `wide` */
    lay_chapter chapter;
    int64_t fed, wide_taken, narrow_taken;
    bool turned; /* the chapter begins with what the one before ended with */
    lay_guide guide;
    lay_pieces pieces;
};

static lay_status copy_gears(lay_track *t, lay_error *err) {
    const lay_track_options *o = &t->options;
    size_t total = 0, at = 0;
    for (size_t g = 0; g < o->gear_count; g++) total += o->gears[g].count;
    t->gears = lay_calloc(o->gear_count, sizeof *t->gears);
    t->orders = lay_calloc(total + 1, sizeof *t->orders);
    if (!t->gears || !t->orders) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t g = 0; g < o->gear_count; g++) {
        t->gears[g] = o->gears[g];
        t->gears[g].orders = t->orders + at;
        for (size_t i = 0; i < o->gears[g].count; i++) t->orders[at++] = o->gears[g].orders[i];
    }
    t->options.gears = t->gears;
    return LAY_OK;
}

static lay_status check_options(const lay_track_options *o, lay_error *err) {
    if (!(o->rate > 0 && o->rate < 1e9) || o->channels == 0 || o->channels > 4096)
        return lay_fail(err, LAY_BAD_INPUT, "no channel to find the speed on");
    if (!(o->low_hz > 0 && o->high_hz > o->low_hz && isfinite(o->high_hz)) || (o->stated_hz > 0 && !(o->stated_sd > 0)))
        return lay_fail(err, LAY_BAD_INPUT, "the stated rpm must be above zero, the lower end first");
    if (o->gear_count == 0) return lay_fail(err, LAY_BAD_INPUT, "no gear in which the speed could be found");
    return LAY_OK;
}

lay_status lay_track_new(const lay_track_options *options, lay_track **out, lay_error *err) {
    *out = NULL;
    lay_status status = check_options(options, err);
    if (status != LAY_OK) return status;
    lay_track *t = lay_calloc(1, sizeof *t);
    if (!t) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    t->options = *options;
    double rate = options->rate;
    while (rate > WIDE_RATE && t->level + 2 < LAY_PYRAMID_LEVELS) {
        rate /= 2;
        t->level++;
    }
    t->chapter = (lay_chapter){.channels = options->channels, .wide_rate = rate};
    status = copy_gears(t, err);
    if (status == LAY_OK) status = lay_pyramid_init(&t->pyramid, (int)options->channels, t->level + 2, err);
    if (status != LAY_OK)
        lay_track_free(t);
    else
        *out = t;
    return status;
}

void lay_track_free(lay_track *t) {
    if (!t) return;
    lay_pyramid_free(&t->pyramid);
    lay_chapter_free(&t->chapter);
    for (size_t k = 0; k < t->pieces.count; k++) lay_piece_free(&t->pieces.items[k]);
    free(t->pieces.items);
    free(t->gears);
    free(t->orders);
    free(t);
}

static lay_status solve(lay_track *t, lay_error *err) {
    lay_status status = lay_solve_chapter(&t->chapter, &t->options, &t->guide, &t->pieces, err);
    lay_chapter_turn(&t->chapter, OVERLAP_S);
    t->turned = true;
    return status;
}

static lay_status take(lay_track *t, lay_error *err) {
    lay_status status = lay_chapter_take(&t->chapter, &t->pyramid, t->level, &t->wide_taken, &t->narrow_taken, err);
    lay_pyramid_forget(&t->pyramid, t->wide_taken << t->level);
    return status;
}

static lay_status feed_some(lay_track *t, const double *frames, size_t count, lay_error *err) {
    lay_status status = lay_pyramid_feed(&t->pyramid, frames, count, err);
    t->fed += (int64_t)count;
    if (status == LAY_OK) status = take(t, err);
    bool full = t->fed % STEP == 0 && (double)t->chapter.wide_count > CHAPTER_S * t->chapter.wide_rate;
    return status == LAY_OK && full ? solve(t, err) : status;
}

/* In steps of its own, so that chapters end where they end however the samples come. */
lay_status lay_track_feed(lay_track *t, const double *frames, size_t count, lay_error *err) {
    lay_status status = LAY_OK;
    while (count > 0 && status == LAY_OK) {
        size_t step = STEP - (size_t)(t->fed % STEP), some = count < step ? count : step;
        status = feed_some(t, frames, some, err);
        frames += some * t->options.channels;
        count -= some;
    }
    return status;
}

/* The pyramid was finished with zeros: cut them off. */
static void cut_padding(lay_track *t) {
    lay_chapter *c = &t->chapter;
    double seconds = (double)t->fed / t->options.rate - c->start_s;
    size_t wide = seconds > 0 ? (size_t)(seconds * c->wide_rate) : 0;
    if (c->wide_count > wide) c->wide_count = wide;
    if (c->narrow_count > wide / 2) c->narrow_count = wide / 2;
}

lay_status lay_track_finish(lay_track *t, lay_track_result *out, lay_error *err) {
    *out = (lay_track_result){.gear = 0};
    lay_status status = lay_pyramid_finish(&t->pyramid, err);
    if (status == LAY_OK) status = take(t, err);
    cut_padding(t);
    bool fresh = !t->turned || (double)t->chapter.wide_count > (OVERLAP_S + 1) * t->chapter.wide_rate;
    if (status == LAY_OK && fresh) status = solve(t, err);
    if (status == LAY_OK) status = lay_join_pieces(t->pieces.items, t->pieces.count, t->options.gear_count, out, err);
    if (status == LAY_OK && t->guide.fitted) out->log_fit = t->guide.fit;
    if (status == LAY_OK && !t->guide.fitted) out->log_error = t->guide.why_not;
    return status;
}

void lay_track_result_free(lay_track_result *r) {
    if (!r) return;
    lay_shaft_free(&r->shaft);
    free(r->gear_probability);
    *r = (lay_track_result){.gear = 0};
}
