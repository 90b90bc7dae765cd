/* The angle of the reference shaft over time: a cubic Hermite curve through knots. */
#include <layshaft/speed.h>

#include "build.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *lay_speed_source_name(lay_speed_source source) {
    static const char *const names[] = {"tach", "stated", "log", "signal"};
    return (size_t)source < sizeof names / sizeof names[0] ? names[source] : "unknown";
}

void lay_shaft_free(lay_shaft *shaft) {
    if (!shaft) return;
    free(shaft->time);
    free(shaft->turns);
    free(shaft->hz);
    free(shaft->sd);
    free(shaft->segment_start);
    *shaft = (lay_shaft){0};
}

/* ---- one piece between two knots ---- */

/* u = 0..1 across the piece; value and slope (per unit of time) of the Hermite cubic. */
static void piece_at(const lay_shaft *s, size_t i, double t, double *turns, double *hz) {
    double h = s->time[i + 1] - s->time[i], u = (t - s->time[i]) / h;
    double rise = s->turns[i + 1] - s->turns[i], m0 = s->hz[i] * h, m1 = s->hz[i + 1] * h;
    double b = 3 * rise - 2 * m0 - m1, a = m0 + m1 - 2 * rise;
    *turns = s->turns[i] + u * (m0 + u * (b + u * a));
    *hz = (m0 + u * (2 * b + u * 3 * a)) / h;
}

/* Index of the piece that holds `value` in the rising array x[first..last]: near `hint` or by bisection. */
static size_t find_piece(const double *x, size_t first, size_t last, double value, size_t hint) {
    if (hint >= first && hint < last && x[hint] <= value) {
        for (size_t i = hint; i < last && i < hint + 4; i++)
            if (value < x[i + 1]) return i;
    }
    size_t low = first, high = last;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (x[middle] <= value)
            low = middle;
        else
            high = middle;
    }
    return low;
}

static size_t segment_last(const lay_shaft *s, size_t segment) {
    return (segment + 1 < s->segment_count ? s->segment_start[segment + 1] : s->count) - 1;
}

static bool is_break(const lay_shaft *s, size_t piece) {
    size_t low = 0, high = s->segment_count;
    while (low < high) { /* first segment that starts after the piece's left knot */
        size_t middle = low + (high - low) / 2;
        if (s->segment_start[middle] <= piece)
            low = middle + 1;
        else
            high = middle;
    }
    return low < s->segment_count && s->segment_start[low] == piece + 1;
}

bool lay_shaft_at(const lay_shaft *s, double t, size_t *hint, double *turns, double *hz) {
    if (s->count < 2 || !(t >= s->time[0] && t <= s->time[s->count - 1])) return false;
    size_t i = find_piece(s->time, 0, s->count - 1, t, hint ? *hint : 0);
    if (is_break(s, i)) {
        if (t > s->time[i]) return false;
        if (i == 0 || is_break(s, i - 1)) return false; /* a lone knot */
        i--;                                            /* exactly at the end of a segment */
    }
    if (hint) *hint = i;
    piece_at(s, i, t, turns, hz);
    return true;
}

/* Newton's method from a secant start, kept inside the piece by halving. */
static double solve_piece(const lay_shaft *s, size_t i, double turns) {
    double low = s->time[i], high = s->time[i + 1], at, slope;
    double t = low + (turns - s->turns[i]) / (s->turns[i + 1] - s->turns[i]) * (high - low);
    double tolerance = 4e-16 * (fabs(low) + fabs(high));
    for (int k = 0; k < 60; k++) {
        piece_at(s, i, t, &at, &slope);
        if (at > turns)
            high = t;
        else
            low = t;
        double next = slope > 0 ? t - (at - turns) / slope : low;
        if (!(next >= low && next <= high)) next = 0.5 * (low + high);
        if (fabs(next - t) <= tolerance) return next;
        t = next;
    }
    return t;
}

bool lay_shaft_time(const lay_shaft *s, size_t segment, double turns, size_t *hint, double *t) {
    if (segment >= s->segment_count || s->count < 2) return false;
    size_t first = s->segment_start[segment], last = segment_last(s, segment);
    if (last <= first || !(turns >= s->turns[first] && turns <= s->turns[last])) return false;
    size_t i = find_piece(s->turns, first, last, turns, hint ? *hint : first);
    if (hint) *hint = i;
    *t = solve_piece(s, i, turns);
    return true;
}

void lay_shaft_range(const lay_shaft *s, double *min_hz, double *mean_hz, double *max_hz, double *revolutions) {
    double low = 0, high = 0, turns = 0, time = 0;
    for (size_t g = 0; g < s->segment_count; g++) {
        size_t first = s->segment_start[g], last = segment_last(s, g);
        if (last <= first) continue;
        turns += s->turns[last] - s->turns[first];
        time += s->time[last] - s->time[first];
        for (size_t i = first; i <= last; i++) {
            if (low <= 0 || s->hz[i] < low) low = s->hz[i];
            if (s->hz[i] > high) high = s->hz[i];
        }
    }
    *min_hz = low;
    *max_hz = high;
    *mean_hz = time > 0 ? turns / time : 0;
    *revolutions = turns;
}

lay_status lay_shaft_constant(double hz, double duration, lay_shaft *out, lay_error *err) {
    lay_shaft_builder b = {0};
    *out = (lay_shaft){0};
    if (!(hz > 0 && isfinite(hz)) || !(duration > 0 && isfinite(duration)))
        return lay_fail(err, LAY_BAD_INPUT, "a steady shaft needs a speed and a duration above zero");
    lay_status status = lay_shaft_add(&b, 0, 0, hz, err);
    if (status == LAY_OK) status = lay_shaft_add(&b, duration, hz * duration, hz, err);
    return lay_shaft_build(&b, status, LAY_SPEED_STATED, out, err);
}
