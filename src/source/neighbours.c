#include "neighbours.h"

#include <math.h>

#define NEAR 2.5  /* widths: a filter of two poles takes 44 dB off what lies so far away */
#define SAME 0.25 /* widths: nearer lines are the order itself */
#define EXACT 0.2 /* widths: the same for orders that are exactly known */
#define BEATS 6   /* of two such orders that the run has to hold */
#define CLAIMED 4 /* times the tolerance of the speed: a line further off its claim is another one */
#define HEARD 2.0 /* significance of what stands at a known order */
#define HARMONICS 6

static double nearest(const lay_vk_track *tracks, size_t count, double order) {
    double least = INFINITY;
    for (size_t i = 0; i < count; i++) least = fmin(least, fabs(tracks[i].order - order));
    return least;
}

/* Where a line is: at the order of its claim, which is exact, unless that is a guess. Bearings slip. */
static double place(const lay_run_evidence *run, const lay_explained_line *l, double width) {
    const lay_claim *c = &l->claims[0];
    if (l->claim_count == 0 || c->class_ == LAY_LINE_UNKNOWN || c->class_ == LAY_LINE_BEARING) return l->line.order;
    double speed = run->speed_source == LAY_SPEED_TACH ? 1e-4 : 4e-4;
    bool far = fabs(c->order - l->line.order) > fmax(SAME * width, CLAIMED * speed * c->order) + l->line.order_sd;
    return far ? l->line.order : c->order;
}

size_t lay_tracks_add_neighbours(const lay_run_evidence *run, double width, lay_vk_track *tracks, size_t count) {
    size_t n = count;
    for (size_t i = 0; i < run->line_count && n < LAY_TRACKS_MAX; i++) {
        const lay_explained_line *l = &run->lines[i];
        if (l->claim_count && l->claims[0].class_ == LAY_LINE_FIXED_HZ) continue;
        double order = place(run, l, width);
        if (nearest(tracks, count, order) < NEAR * width && nearest(tracks, n, order) > SAME * width)
            tracks[n++] = (lay_vk_track){order, 0};
    }
    return n;
}

/* ---- orders that are known ---- */

double lay_orders_apart(const lay_run_evidence *run, double width) {
    return fmax(EXACT * fmax(width, LAY_WIDTH_LEAST), run->revolutions > 0 ? BEATS / run->revolutions : INFINITY);
}

double lay_part_order_near(const lay_run_evidence *run, const lay_expected *part, double order) {
    double best = NAN;
    if (!part->turning || part->type == LAY_PART_BEARING) return NAN;
    if (part->type == LAY_PART_ENGINE) {
        best = part->cycle_order > 0 ? part->cycle_order * fmax(1, round(order / part->cycle_order)) : NAN;
        return lay_engine_order(run, best) ? best : NAN;
    }
    if (part->type != LAY_PART_ROTOR) {
        double k = part->order > 0 ? round(order / part->order) : 0;
        return k >= 1 && k <= HARMONICS ? k * part->order : NAN;
    }
    for (size_t i = 0; i < part->multiple_count; i++) {
        double made = part->multiples[i] * part->order;
        if (!(fabs(best - order) <= fabs(made - order))) best = made;
    }
    return best;
}

/* Only where something stands: a track without a line takes up what the part itself does nearby. */
static bool heard(const lay_run_evidence *run, double order) {
    lay_tone tone;
    lay_tone_at(run, order, 0, &tone);
    return tone.valid && tone.significance > HEARD;
}

size_t lay_tracks_add_known(const lay_run_evidence *run, double width, lay_vk_track *tracks, size_t own, size_t count) {
    double apart = lay_orders_apart(run, width);
    size_t n = count;
    for (size_t i = 0; i < own; i++)
        for (size_t p = 0; p < run->expected_count && n < LAY_TRACKS_MAX; p++) {
            double order = lay_part_order_near(run, &run->expected[p], tracks[i].order);
            if (fabs(order - tracks[i].order) < NEAR * width && nearest(tracks, n, order) >= apart && heard(run, order))
                tracks[n++] = (lay_vk_track){order, 0};
        }
    return n;
}

/* ---- how wide ---- */

/* So narrow that what other parts make near `order` is told apart where the run allows it. */
static double width_beside_parts(const lay_run_evidence *run, double order, double width) {
    double least = lay_orders_apart(run, 0);
    for (size_t p = 0; p < run->expected_count; p++) {
        double made = lay_part_order_near(run, &run->expected[p], order), off = fabs(made - order);
        if (off >= least && off < EXACT * width && heard(run, made)) width = off / EXACT;
    }
    return width;
}

/* So narrow that a louder line stays outside; one within the tolerance is the order itself. */
static double width_beside_lines(const lay_run_evidence *run, double order, double width) {
    lay_tone own;
    lay_tone_at(run, order, 0, &own);
    for (size_t i = 0; i < run->line_count; i++) {
        const lay_explained_line *l = &run->lines[i];
        double off = fabs(place(run, l, width) - order);
        if (off > lay_order_tolerance(run, order) && off < width && !(own.valid && l->line.power < own.power))
            width = fmax(LAY_WIDTH_LEAST, off);
    }
    return width;
}

double lay_alone_width(const lay_run_evidence *run, const double *orders, size_t count) {
    double width = lay_run_order_width(run);
    for (size_t i = 0; i < count; i++)
        width = width_beside_lines(run, orders[i], width_beside_parts(run, orders[i], width));
    return width;
}
