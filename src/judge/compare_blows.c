/* Bearings before and after: how plainly their blows stand, in one band of frequencies for both. */
#include "compare.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

#define STEP 0.001
#define SCATTER_DB 1.0 /* deviation of blows from run to run beyond what tones have (common practice, no source) */

typedef struct blow {
    bool heard;
    double height, deviation; /* of the lines of the envelope spectrum over its noise, which is 1 */
    double power;             /* of the band, full scale^2 */
} blow;

static const lay_expected *bearing_of(const lay_run_evidence *run, const char *name) {
    for (size_t i = 0; i < run->expected_count; i++)
        if (run->expected[i].type == LAY_PART_BEARING && strcasecmp(run->expected[i].name, name) == 0)
            return &run->expected[i];
    return NULL;
}

/* Which of its rates an order is, and that rate of another run. */
static double same_rate(const lay_expected *of, double order, const lay_expected *in) {
    double from[] = {of->bpfo, of->bpfi, of->bsf2}, to[] = {in->bpfo, in->bpfi, in->bsf2};
    for (int i = 0; i < 3; i++)
        if (fabs(from[i] - order) < 1e-9 * order) return to[i];
    return 0;
}

static size_t band_at(const lay_run_evidence *run, const lay_strikes *s, double low_hz, double high_hz) {
    size_t first = lay_strikes_first_band(s), best = 0;
    double most = -INFINITY;
    for (size_t b = 0; b < lay_strikes_band_count(s); b++) {
        const lay_band *band = &run->envelope.bands[first + b];
        double common = fmin(band->high_hz, high_hz) - fmax(band->low_hz, low_hz);
        double all = fmax(band->high_hz, high_hz) - fmin(band->low_hz, low_hz);
        if (common / all > most) most = common / all, best = b;
    }
    return best;
}

/* Height of the series at the slip that shows it best: powers of its lines less 1 each. */
static void add_lines(const lay_run_evidence *run, const lay_strike *strike, blow *out) {
    double averages = fmax(1, run->envelope.averages);
    out->height = out->deviation = 0;
    for (int k = 0; k < strike->lines && k < LAY_STRIKE_RING_LINES; k++) {
        if (isnan(strike->level_db[k])) continue;
        double over = fmax(0, lay_db_to_power(strike->level_db[k]) - 1);
        out->height += over;
        out->deviation += (1 + 2 * over) / averages;
    }
    out->deviation = sqrt(out->deviation);
}

static void measure(const lay_run_evidence *run, double order, double limit, const lay_ring_band *band, blow *out) {
    lay_strikes *s = NULL;
    lay_strike best = {.score = -INFINITY};
    if (lay_strikes_new(run, &s, NULL) != LAY_OK || !s) return;
    size_t at = band_at(run, s, band->low_hz, band->high_hz);
    for (double slip = -limit; slip <= limit + 1e-9; slip += STEP) {
        lay_strike one;
        lay_strike_at(s, LAY_STRIKE_RING, order, slip, at, 0, &one);
        if (one.valid && one.score > best.score) best = one;
    }
    out->power = run->envelope.bands[lay_strikes_first_band(s) + at].power * run->full_scale * run->full_scale;
    if (best.valid) add_lines(run, &best, out);
    lay_strikes_free(s);
}

/* Another bearing strikes as often, as far as either rate is known, and shows it more plainly; or its rates are
 * known and those of this one are not. */
static bool more_plainly(const lay_run_evidence *run, const lay_expected *e, const lay_ring_band *band) {
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *other = &run->expected[i];
        lay_ring_band theirs;
        double rates[] = {other->bpfo, other->bpfi, other->bsf2};
        bool near = false;
        if (other->type != LAY_PART_BEARING || other == e || !other->turning) continue;
        for (int k = 0; k < 3; k++)
            near |= fabs(rates[k] - band->order) <=
                    rates[k] * (0.02 + other->tolerance) + band->order * (0.02 + e->tolerance);
        if (!near || !lay_run_ring_band(run, other, &theirs) || !theirs.blows) continue;
        if (theirs.clear_db > band->clear_db + 0.01 || other->tolerance < 0.5 * e->tolerance) return true;
    }
    return false;
}

void lay_compare_blows(const lay_comparing *c, const char *bearing, size_t shared, lay_estimate *out) {
    const lay_overlap *o = &c->overlaps[shared];
    const lay_run_evidence *runs[2] = {&c->before->runs[o->before->first_run], &c->after->runs[o->after->first_run]};
    const lay_expected *e[2] = {bearing_of(runs[0], bearing), bearing_of(runs[1], bearing)};
    lay_ring_band band[2] = {{0}};
    blow blows[2] = {{0}};
    *out = (lay_estimate){.ln = NAN, .dof = 6};
    for (int k = 0; k < 2; k++)
        if (!e[k] || !lay_run_ring_band(runs[k], e[k], &band[k])) return;
    if (!band[0].blows && !band[1].blows) return;
    int loud = band[1].blows && (!band[0].blows || band[1].clear_db > band[0].clear_db) ? 1 : 0;
    if (more_plainly(runs[loud], e[loud], &band[loud])) return;
    for (int k = 0; k < 2; k++) {
        double order = same_rate(e[loud], band[loud].order, e[k]);
        measure(runs[k], order, fmax(0.02, e[k]->tolerance), &band[loud], &blows[k]);
        blows[k].heard = band[k].blows && fabs(band[k].order - order) < 1e-9 * order;
        if (!(blows[k].power > 0)) return;
    }
    const double usual = SCATTER_DB / LAY_LN_DB;
    double height[2];
    for (int k = 0; k < 2; k++) height[k] = fmax(blows[k].height, blows[k].deviation);
    out->before = blows[0].heard;
    out->after = blows[1].heard;
    double band_ln = o->by_floor ? 0 : log(blows[1].power / blows[0].power);
    out->ln = 0.5 * log(height[1] / height[0]) + band_ln;
    out->variance = 2 * usual * usual;
    for (int k = 0; k < 2; k++)
        if (blows[k].heard) out->variance += pow(0.5 * blows[k].deviation / height[k], 2);
    out->before_noise = sqrt(blows[0].deviation / height[1]);
    out->after_noise = sqrt(blows[1].deviation / height[0]);
    out->before_power = blows[0].power * sqrt(height[0]);
    out->after_power = blows[1].power * sqrt(height[1]);
}
