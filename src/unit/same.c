/* Which parts sound alike: their base lines fall together, so only sidebands can tell them apart. */
#include <layshaft/unit.h>

#include <math.h>

#define BEARING_LINES 4

static void bearing_lines(const lay_expected *e, double lines[BEARING_LINES]) {
    lines[0] = e->bpfo;
    lines[1] = e->bpfi;
    lines[2] = e->bsf2;
    lines[3] = e->ftf;
}

/* Number of base lines of a part and the k-th of them; 0 when it is not known. */
static size_t line_count(const lay_expected *e) {
    if (e->type == LAY_PART_BEARING) return BEARING_LINES;
    return e->type == LAY_PART_ROTOR ? e->multiple_count : 1;
}

static double line_of(const lay_expected *e, size_t k) {
    if (e->type == LAY_PART_ROTOR) return e->order * e->multiples[k];
    if (e->type != LAY_PART_BEARING) return e->order;
    double lines[BEARING_LINES];
    bearing_lines(e, lines);
    return lines[k];
}

/* Bearing multiples are only known to their tolerance, and two bearings slip each for itself. */
static bool together(const lay_expected *a, double x, const lay_expected *b, double y, double resolution) {
    return fabs(x - y) <= resolution + a->tolerance * x + b->tolerance * y;
}

/* Every known line of `a` falls on one of `b`, and there is at least one. */
static bool hidden_in(const lay_expected *a, const lay_expected *b, double resolution) {
    bool any = false;
    for (size_t i = 0; i < line_count(a); i++) {
        double x = line_of(a, i);
        bool found = false;
        if (!(x > 0)) continue;
        for (size_t j = 0; j < line_count(b) && !found; j++) {
            double y = line_of(b, j);
            found = y > 0 && together(a, x, b, y, resolution);
        }
        if (!found) return false;
        any = true;
    }
    return any;
}

/* Two bearings: outer with outer, inner with inner and so on; a line one of them does not know says nothing. */
static bool same_bearings(const lay_expected *a, const lay_expected *b, double resolution) {
    double x[BEARING_LINES], y[BEARING_LINES];
    bool any = false;
    bearing_lines(a, x);
    bearing_lines(b, y);
    for (int i = 0; i < BEARING_LINES; i++) {
        if (x[i] == 0 || y[i] == 0) continue;
        if (!together(a, x[i], b, y[i], resolution)) return false;
        any = true;
    }
    return any;
}

/* Speeds that can modulate a part's lines. */
static void modulators(const lay_expected *e, double out[2]) {
    bool bearing = e->type == LAY_PART_BEARING;
    out[0] = bearing ? e->ring_order[0] : e->type == LAY_PART_ENGINE ? e->cycle_order : e->wheel_order[0];
    out[1] = bearing ? e->ring_order[1] : e->wheel_order[1];
}

static bool near_one_of(double x, const double y[2], double resolution) {
    return fabs(x - y[0]) <= resolution || fabs(x - y[1]) <= resolution;
}

static bool modulated_apart(const lay_expected *a, const lay_expected *b, double resolution) {
    double x[2], y[2];
    modulators(a, x);
    modulators(b, y);
    for (int i = 0; i < 2; i++) {
        if (x[i] > 0 && !near_one_of(x[i], y, resolution)) return true;
        if (y[i] > 0 && !near_one_of(y[i], x, resolution)) return true;
    }
    return false;
}

bool lay_expected_same(const lay_expected *a, const lay_expected *b, double resolution, bool *by_sidebands) {
    if (by_sidebands) *by_sidebands = false;
    if (!a->turning || !b->turning) return false;
    bool bearings = a->type == LAY_PART_BEARING && b->type == LAY_PART_BEARING;
    bool same = bearings ? same_bearings(a, b, resolution) : hidden_in(a, b, resolution) || hidden_in(b, a, resolution);
    if (same && by_sidebands) *by_sidebands = modulated_apart(a, b, resolution);
    return same;
}
