#include "build.h"

#include <math.h>

static bool drop_lone_knot(lay_shaft_builder *b) {
    lay_shaft *s = &b->shaft;
    if (s->segment_count == 0 || s->segment_start[s->segment_count - 1] + 1 != s->count) return false;
    s->count--;
    s->segment_count--;
    return true;
}

void lay_shaft_break(lay_shaft_builder *b) {
    drop_lone_knot(b);
    b->broken = true;
}

static lay_status open_segment(lay_shaft_builder *b, lay_error *err) {
    lay_shaft *s = &b->shaft;
    lay_status status =
        lay_grow((void **)&s->segment_start, &b->segment_capacity, s->segment_count, sizeof *s->segment_start, err);
    if (status != LAY_OK) return status;
    s->segment_start[s->segment_count++] = s->count;
    b->broken = false;
    return LAY_OK;
}

lay_status lay_shaft_add(lay_shaft_builder *b, double time, double turns, double hz, lay_error *err) {
    lay_shaft *s = &b->shaft;
    if (!isfinite(time) || !isfinite(turns) || !(hz > 0)) return LAY_OK;
    if (s->count > 0 && (time <= s->time[s->count - 1] || turns <= s->turns[s->count - 1])) return LAY_OK;
    lay_status status = LAY_OK;
    if (s->segment_count == 0 || b->broken) status = open_segment(b, err);
    if (status == LAY_OK) status = lay_grow((void **)&s->time, &b->time_capacity, s->count, sizeof *s->time, err);
    if (status == LAY_OK) status = lay_grow((void **)&s->turns, &b->turns_capacity, s->count, sizeof *s->turns, err);
    if (status == LAY_OK) status = lay_grow((void **)&s->hz, &b->hz_capacity, s->count, sizeof *s->hz, err);
    if (status != LAY_OK) return status;
    s->time[s->count] = time;
    s->turns[s->count] = turns;
    s->hz[s->count++] = hz;
    return LAY_OK;
}

/* A cubic between two knots rises all the way when both slopes are at most three times the secant's (Fritsch and
 * Carlson, SIAM J. Numer. Anal. 17 (1980) 238: a sufficient square inside their region). */
static void limit_slopes(lay_shaft *s) {
    for (size_t g = 0; g < s->segment_count; g++) {
        size_t end = g + 1 < s->segment_count ? s->segment_start[g + 1] : s->count;
        for (size_t i = s->segment_start[g]; i + 1 < end; i++) {
            double most = 2.99 * (s->turns[i + 1] - s->turns[i]) / (s->time[i + 1] - s->time[i]);
            s->hz[i] = fmin(s->hz[i], most);
            s->hz[i + 1] = fmin(s->hz[i + 1], most);
        }
    }
}

lay_status lay_shaft_build(lay_shaft_builder *b, lay_status status, lay_speed_source source, lay_shaft *out,
                           lay_error *err) {
    drop_lone_knot(b);
    if (status == LAY_OK && b->shaft.segment_count == 0)
        status = lay_fail(err, LAY_BAD_INPUT, "the speed of the shaft is known nowhere in this recording");
    if (status == LAY_OK) {
        *out = b->shaft;
        out->source = source;
        limit_slopes(out);
    } else {
        lay_shaft_free(&b->shaft);
        *out = (lay_shaft){0};
    }
    *b = (lay_shaft_builder){0};
    return status;
}
