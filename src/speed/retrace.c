#include "retrace.h"

#include <math.h>
#include <stdlib.h>

#define MOST_LINES 40
#define LOUD 12 /* of them that are heard nearly always */
#define LEAST_NATS 20.0
#define APART 6   /* points of the profile */
#define WIDER 2.2 /* how far beyond the path's own speeds, as a factor */
#define GRID_STEP 2.5e-3
#define OTHER 0.02 /* of the speed: less is the same path */
#define OTHER_FRAMES 4

typedef struct line {
    double order, nats;
} line;

static int by_nats(const void *a, const void *b) {
    double x = ((const line *)a)->nats, y = ((const line *)b)->nats;
    return (x < y) - (x > y);
}

static bool is_peak(const lay_profile *p, size_t i) {
    for (size_t k = 1; k <= APART; k++)
        if (p->mean[i - k] >= p->mean[i] || p->mean[i + k] > p->mean[i]) return false;
    return true;
}

/* The clearest lines as orders of the path; returns how many. */
static size_t choose(const lay_profile *p, line *all, lay_track_order *orders) {
    size_t count = 0;
    for (size_t i = APART; i + APART < p->count; i++) {
        double mean = (double)p->mean[i], nats = 0.5 * (double)p->frames[i] * (mean - 1 - log(fmax(mean, 1e-3)));
        if (mean > 1 && nats > LEAST_NATS && is_peak(p, i)) all[count++] = (line){(double)i * p->step, nats};
    }
    qsort(all, count, sizeof *all, by_nats);
    if (count > MOST_LINES) count = MOST_LINES;
    for (size_t i = 0; i < count; i++) orders[i] = (lay_track_order){all[i].order, i < LOUD ? 0.8 : 0.5, false};
    return count;
}

static bool differs(const lay_chirp *view, const lay_grid *grid, const size_t *steps, const lay_shaft *path) {
    size_t hint = 0, count = 0;
    double turns, hz;
    for (size_t f = 0; f < view->frames; f++) {
        if (!lay_shaft_at(path, view->first_s + (double)f * view->hop_s, &hint, &turns, &hz)) continue;
        count += fabs(log(grid->low_hz / hz) + (double)steps[f] * grid->step) > OTHER;
    }
    return count >= OTHER_FRAMES;
}

static lay_status trace(const lay_chapter *chapter, const lay_chirp *view, const lay_track_options *lines,
                        const lay_grid *grid, double speed_sd, const lay_shaft *path, lay_shaft *out, bool *changed,
                        lay_error *err) {
    float *score = lay_calloc(view->frames * grid->count + 1, sizeof *score);
    size_t *steps = lay_calloc(view->frames + 1, sizeof *steps);
    double *log_hz = lay_calloc(2 * view->frames + 1, sizeof *log_hz), *drift = log_hz + view->frames;
    lay_status status = LAY_OK;
    if (!score || !steps || !log_hz) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    if (status == LAY_OK) status = lay_comb_score(view, lines, grid, score, err);
    for (size_t f = 1; f < view->frames && status == LAY_OK; f++)
        drift[f] = 0.5 * ((double)view->slope[f - 1] + (double)view->slope[f]) * view->hop_s / grid->step;
    if (status == LAY_OK)
        status = lay_path_find(score, view->frames, grid->count, grid->count, drift, speed_sd / grid->step, steps, NULL,
                               err);
    *changed = status == LAY_OK && differs(view, grid, steps, path);
    for (size_t f = 0; f < view->frames && *changed; f++) log_hz[f] = log(grid->low_hz) + (double)steps[f] * grid->step;
    if (*changed) status = lay_chapter_shaft(chapter, view->first_s, view->hop_s, log_hz, view->frames, out, err);
    free(score);
    free(steps);
    free(log_hz);
    return status;
}

lay_status lay_retrace(const lay_chapter *chapter, const lay_chirp *view, const lay_profile *profile, double speed_sd,
                       const lay_shaft *path, lay_shaft *out, bool *changed, lay_error *err) {
    lay_track_order orders[MOST_LINES];
    *changed = false;
    *out = (lay_shaft){.count = 0};
    if (profile->count < 4 * APART || view->frames == 0) return LAY_OK;
    line *all = lay_calloc(profile->count, sizeof *all);
    if (!all) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_track_gear gear = {orders, choose(profile, all, orders), 1};
    free(all);
    if (gear.count < 3) return LAY_OK;
    double low, mean, high, turns;
    lay_shaft_range(path, &low, &mean, &high, &turns);
    lay_grid grid = {low / WIDER, GRID_STEP, 0};
    grid.count = (size_t)(log(high * WIDER / grid.low_hz) / GRID_STEP) + 1;
    lay_track_options lines = {.gears = &gear, .gear_count = 1};
    return trace(chapter, view, &lines, &grid, speed_sd, path, out, changed, err);
}
