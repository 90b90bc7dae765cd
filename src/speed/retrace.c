#include "retrace.h"

#include "peaks.h"

#include <math.h>
#include <stdlib.h>

#define MOST_LINES 40
#define LOUD 12 /* of them that are heard nearly always */
#define LEAST_LINES 3
#define LEAST_NATS 20.0
#define WIDER 2.2  /* how far beyond the path's own speeds, as a factor */
#define OTHER 0.02 /* of the speed: less is the same path */
#define OTHER_FRAMES 4

static bool differs(const lay_chirp *view, const lay_shaft *a, const lay_shaft *b) {
    size_t hint_a = 0, hint_b = 0, count = 0;
    double turns, hz_a, hz_b;
    for (size_t f = 0; f < view->frames; f++) {
        double t = view->first_s + (double)f * view->hop_s;
        if (lay_shaft_at(a, t, &hint_a, &turns, &hz_a) && lay_shaft_at(b, t, &hint_b, &turns, &hz_b))
            count += fabs(log(hz_a / hz_b)) > OTHER;
    }
    return count >= OTHER_FRAMES;
}

/* The clearest lines as orders of the path. */
static lay_status lines_of(const lay_profile *profile, lay_track_order *orders, size_t *count, lay_error *err) {
    lay_peak peaks[MOST_LINES];
    lay_status status = lay_peaks_find(profile, LEAST_NATS, MOST_LINES, peaks, count, err);
    for (size_t i = 0; i < *count; i++) orders[i] = (lay_track_order){peaks[i].order, i < LOUD ? 0.8 : 0.5, false};
    return status;
}

lay_status lay_retrace(const lay_chapter *chapter, const lay_chirp *view, const lay_profile *profile,
                       const lay_shaft *path, lay_shaft *out, bool *changed, lay_error *err) {
    lay_track_order orders[MOST_LINES];
    lay_track_gear gear = {.orders = orders, .prior = 1};
    lay_track_options lines = {.gears = &gear, .gear_count = 1};
    double low, mean, high, turns;
    *changed = false;
    *out = (lay_shaft){.count = 0};
    lay_status status = lines_of(profile, orders, &gear.count, err);
    if (status != LAY_OK || gear.count < LEAST_LINES || view->frames == 0) return status;
    lay_shaft_range(path, &low, &mean, &high, &turns);
    lay_grid grid = {low / WIDER, LAY_COURSE_STEP, 0};
    grid.count = (size_t)(log(high * WIDER / grid.low_hz) / grid.step) + 1;
    float *score = lay_calloc(view->frames * grid.count + 1, sizeof *score);
    if (!score) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    status = lay_comb_score(view, &lines, &grid, score, err);
    if (status == LAY_OK) status = lay_course_trace(chapter, view, &grid, score, 0, grid.count, false, out, NULL, err);
    free(score);
    *changed = status == LAY_OK && differs(view, out, path);
    if (!*changed) lay_shaft_free(out);
    return status;
}
