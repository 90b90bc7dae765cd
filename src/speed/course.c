#include "course.h"

#include <math.h>
#include <stdlib.h>

#define MOST_CANDIDATES 4000
#define SPEED_SD 0.004   /* usual departure from the slope's forecast, per frame */
#define STEADY_SD 0.0006 /* the same of a steady run */
#define CLOSED 1000.0f   /* nats that no path pays */

lay_status lay_course_open(const lay_chapter *chapter, const lay_track_options *o, lay_guide *guide, lay_course *out,
                           lay_error *err) {
    double span = log(o->high_hz / o->low_hz), step = fmax(LAY_COURSE_STEP, span / MOST_CANDIDATES);
    *out = (lay_course){.chapter = chapter, .options = o, .guide = guide};
    out->grid = (lay_grid){o->low_hz, step, (size_t)ceil(span / step) + 1};
    return lay_chirp_make(chapter, out->views, err);
}

void lay_course_close(lay_course *course) {
    for (size_t v = 0; v < LAY_CHIRP_VIEWS; v++) {
        lay_chirp_free(&course->views[v]);
        free(course->score[v]);
    }
}

/* ---- an rpm log ---- */

/* Find the log's clock unless it is known; why not goes to the guide. */
static lay_status fit_log(lay_course *c, size_t v, lay_error *err) {
    const lay_chirp *view = &c->views[v];
    lay_guide *guide = c->guide;
    if (guide->fitted) return LAY_OK;
    lay_speed_scores scores = {c->score[v], view->frames,   c->grid.count, view->first_s,
                               view->hop_s, c->grid.low_hz, c->grid.step};
    guide->why_not = (lay_error){0};
    lay_status status = lay_log_align(c->options->log, &scores, NULL, &guide->fit, &guide->why_not);
    if (status == LAY_NO_MEMORY) return lay_fail(err, status, "%s", guide->why_not.message);
    guide->fitted = status == LAY_OK && (guide->fit.confidence >= 0.5 || guide->fit.flat);
    return LAY_OK;
}

/* Close the table to speeds that are not about the logged ones. */
static void keep_to_log(lay_course *c, size_t v) {
    const lay_chirp *view = &c->views[v];
    const lay_log_fit *fit = &c->guide->fit;
    for (size_t f = 0; f < view->frames; f++) {
        double hz, t = view->first_s + (double)f * view->hop_s;
        if (!lay_log_at(c->options->log, fit->offset_s, fit->drift, t, &hz) || hz <= 0) continue;
        for (size_t k = 0; k < c->grid.count; k++)
            if (fabs(log(c->grid.low_hz / hz) + (double)k * c->grid.step) > LAY_GUIDE_TO)
                c->score[v][f * c->grid.count + k] -= CLOSED;
    }
}

/* ---- paths ---- */

static lay_status make_table(lay_course *c, size_t v, lay_error *err) {
    if (c->score[v]) return LAY_OK;
    c->score[v] = lay_calloc(c->views[v].frames * c->grid.count + 1, sizeof *c->score[v]);
    if (!c->score[v]) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = lay_comb_score(&c->views[v], c->options, &c->grid, c->score[v], err);
    if (status == LAY_OK && c->options->log) status = fit_log(c, v, err);
    if (status == LAY_OK && c->guide->fitted) keep_to_log(c, v);
    return status;
}

/* First candidate that may be taken, and how many. */
static void limits(const lay_course *c, bool near, size_t *first, size_t *count) {
    *first = 0;
    *count = c->grid.count;
    if (!near) return;
    double from = log(c->options->near_low_hz / c->grid.low_hz) / c->grid.step;
    double to = log(c->options->near_high_hz / c->grid.low_hz) / c->grid.step;
    *first = (size_t)fmax(0, fmin(floor(from), (double)c->grid.count - 2));
    *count = (size_t)fmin((double)(c->grid.count - *first), fmax(2, ceil(to) - (double)*first + 1));
}

lay_status lay_course_trace(const lay_chapter *chapter, const lay_chirp *view, const lay_grid *grid, const float *score,
                            size_t first, size_t count, bool steady, lay_shaft *out, double *total, lay_error *err) {
    size_t *path = lay_calloc(view->frames + 1, sizeof *path);
    double *log_hz = lay_calloc(view->frames + 1, sizeof *log_hz);
    double *drift = lay_calloc(view->frames + 1, sizeof *drift), sd = steady ? STEADY_SD : SPEED_SD;
    lay_status status = LAY_OK;
    if (!path || !log_hz || !drift) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    for (size_t f = 1; f < view->frames && !steady; f++)
        drift[f] = 0.5 * ((double)view->slope[f - 1] + (double)view->slope[f]) * view->hop_s / grid->step;
    status = lay_path_find(score + first, view->frames, grid->count, count, drift, sd / grid->step, path, total, err);
    if (status != LAY_OK) goto done;
    for (size_t f = 0; f < view->frames; f++) log_hz[f] = log(grid->low_hz) + (double)(first + path[f]) * grid->step;
    status = lay_chapter_shaft(chapter, view->first_s, view->hop_s, log_hz, view->frames, out, err);
done:
    free(path);
    free(log_hz);
    free(drift);
    return status;
}

lay_status lay_course_find(lay_course *c, lay_way way, lay_shaft *out, double *total, lay_error *err) {
    size_t first, count;
    lay_status status = make_table(c, way.view, err);
    limits(c, way.near, &first, &count);
    return status == LAY_OK ? lay_course_trace(c->chapter, &c->views[way.view], &c->grid, c->score[way.view], first,
                                               count, way.steady, out, total, err)
                            : status;
}
