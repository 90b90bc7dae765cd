/* Where samples lie on the knots, and the phases of the tracks there. */
#include "vk.h"

#include <math.h>

static size_t last_knot(const lay_shaft *s, size_t segment) {
    return (segment + 1 < s->segment_count ? s->segment_start[segment + 1] : s->count) - 1;
}

static double fastest(const lay_shaft *s, size_t first, size_t last) {
    double most = 0;
    for (size_t i = first; i <= last; i++) most = fmax(most, s->hz[i]);
    return most;
}

/* In units of one knot interval the sum over samples becomes an integral, and the penalty that gives the wanted
 * bandwidth, gain 1 / sqrt 2 at half of it, is (sqrt 2 - 1) / (pi bandwidth step)^(2 poles) times the integral of the
 * squared derivative; half of it, as a real signal holds half of each track's power (derived here from the discrete
 * form, see lay_vk_weight, for bandwidths far below the rate). */
static void lay_out(lay_vk *vk, size_t segment) {
    const lay_shaft *s = vk->shaft;
    size_t first = s->segment_start[segment], last = last_knot(s, segment);
    lay_vk_grid *g = &vk->grid;
    g->segment = segment;
    g->start_s = s->time[first];
    g->end_s = s->time[last];
    g->start_turns = s->turns[first];
    bool orders = vk->options.width == LAY_VK_ORDERS;
    double length = orders ? s->turns[last] - s->turns[first] : g->end_s - g->start_s;
    double wanted = 1 / (LAY_VK_KNOTS * vk->options.bandwidth);
    g->intervals = length > wanted ? (size_t)(length / wanted) : 1;
    g->step = length / (double)g->intervals;
    double samples = vk->options.rate * g->step / (orders ? fmax(fastest(s, first, last), 1e-3) : 1);
    vk->piece = (size_t)fmax(1, fmin(LAY_VK_PIECE, samples / LAY_VK_PER_KNOT));
    g->lambda = 0.5 * (sqrt(2) - 1) / pow(LAY_PI * vk->options.bandwidth * g->step, 2 * vk->options.poles);
}

bool lay_vk_next_stretch(lay_vk *vk) {
    const lay_shaft *s = vk->shaft;
    while (vk->next_segment < s->segment_count) {
        size_t segment = vk->next_segment++;
        if (last_knot(s, segment) <= s->segment_start[segment]) continue; /* a lone knot */
        lay_out(vk, segment);
        return true;
    }
    return false;
}

bool lay_vk_locate(const lay_vk *vk, double t, size_t *hint, lay_vk_place *out) {
    const lay_vk_grid *g = &vk->grid;
    out->time = t;
    if (t < g->start_s || t > g->end_s || !lay_shaft_at(vk->shaft, t, hint, &out->turns, &out->hz)) return false;
    bool orders = vk->options.width == LAY_VK_ORDERS;
    double u = (orders ? out->turns - g->start_turns : t - g->start_s) / g->step, whole = floor(u);
    if (whole < 0) whole = 0;
    out->interval = (size_t)whole < g->intervals ? (size_t)whole : g->intervals - 1;
    lay_vk_basis(u - (double)out->interval, out->basis);
    out->du = (orders ? fmax(out->hz, 0) : 1) / (vk->options.rate * g->step);
    return true;
}

/* Cosine and sine of `cycles` turns, good to 1e-11: Taylor's series of an eighth of the angle, doubled three times. A
 * third of the time of the library's, and there is one of these for each sample of each track. */
void lay_vk_turn_to(double cycles, double *c, double *s) {
    double x = 0.25 * LAY_PI * (cycles - rint(cycles)), x2 = x * x;
    *s = x * (1 - x2 / 6 * (1 - x2 / 20 * (1 - x2 / 42 * (1 - x2 / 72))));
    *c = 1 - x2 / 2 * (1 - x2 / 12 * (1 - x2 / 30 * (1 - x2 / 56 * (1 - x2 / 90))));
    for (int k = 0; k < 3; k++) {
        double twice = 2 * *s * *c;
        *c = 1 - 2 * *s * *s;
        *s = twice;
    }
}

void lay_vk_phasors(const lay_vk *vk, const lay_vk_cluster *c, const lay_vk_place *place, double *out) {
    double half = 0.5 * vk->options.rate;
    for (size_t k = 0; k < c->tracks; k++) {
        const lay_vk_track *track = &vk->tracks[c->track[k]];
        if (track->order * place->hz + track->hz < half)
            lay_vk_turn_to(track->order * place->turns + track->hz * place->time, &out[2 * k], &out[2 * k + 1]);
        else
            out[2 * k] = out[2 * k + 1] = 0;
    }
}

void lay_vk_half_steps(const lay_vk *vk, const lay_vk_cluster *c, const lay_vk_place *place, double *out) {
    for (size_t k = 0; k < c->tracks; k++) {
        const lay_vk_track *track = &vk->tracks[c->track[k]];
        out[k] = LAY_PI * (track->order * place->hz + track->hz) / vk->options.rate;
    }
}
