#include "strike_view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What is locked to a shaft or to the engine (injectors, valves, tones that beat with their sidebands) makes lines at
 * exact multiples of its turn; a bearing slips and does not. A multiple that a bearing's order happens to meet counts
 * only by what it has more than its neighbours in the same series. */

#define BESIDE_DB 6.0 /* neighbours in a series differ by so much */
#define STEADY 0.03   /* a run whose speed moves by less */
#define FIXED_MOST 16
#define HZ_LEAST 20.0
#define SERIES_LINES 16
#define SERIES_DB 9.0     /* a series is one when three quarters of its lines reach this */
#define SERIES_LOWEST 0.1 /* orders in which it is looked for */
#define SERIES_HIGHEST 0.7
#define STEP_DB 4.0  /* blows that change their size during the run keep step less than fully */
#define NOISE_DB 5.0 /* what noise makes of the highest of a few bins */
/* The skirt of a strong line: the window's, and below it the foot that its changes of level during the run make,
 * falling with the square of the distance. */
#define SKIRT_BINS 2.0
#define SKIRT_DB 12.0 /* fall per bin, from the first on */
#define SKIRT_FOOT_DB 12.0
#define SKIRT_LOW_DB 3.0
#define SKIRT_MOST_BINS 40.0

float lay_strike_highest(const float *row, size_t bins, double at, double half) {
    ptrdiff_t low = (ptrdiff_t)floor(at - half + 0.5), high = (ptrdiff_t)floor(at + half + 0.5);
    float best = 0;
    if (low < 1) low = 1;
    for (ptrdiff_t i = low; i <= high && i < (ptrdiff_t)bins; i++)
        if (row[i] > best) best = row[i];
    return best;
}

double lay_strike_allowed(double *level, size_t count) {
    double median = count ? lay_median(level, count) : 0;
    return median > NOISE_DB ? median + BESIDE_DB : 0;
}

/* What the neighbours in the series let expect at its line n. */
static double beside(const float *row, size_t bins, double spacing, int n) {
    static const int near[] = {-2, -1, 1, 2};
    double level[4];
    size_t count = 0;
    for (int i = 0; i < 4; i++)
        if (n + near[i] >= 1 && (n + near[i]) * spacing < (double)bins - 1)
            level[count++] = lay_strike_highest(row, bins, (n + near[i]) * spacing, 0.75);
    return lay_strike_allowed(level, count);
}

double lay_strike_rest(double level, double made) {
    return level > made ? fmax(0, level + 10 * log10(1 - pow(10, (made - level) / 10))) : 0;
}

/* Within LAY_STRIKE_EXACT_BINS of the place counts what is above `made`; farther out, what is above the skirt of the
 * line there. No more of what fires, injects or opens valves counts: how strong it is no neighbour tells. */
static double left_beside(double raw, double off, double peak, double made) {
    if (off > LAY_STRIKE_EXACT_BINS)
        made = peak - fmin(SKIRT_DB * (off - 1), SKIRT_FOOT_DB) - 20 * log10(fmax(1, off / SKIRT_BINS));
    return lay_strike_rest(raw, made);
}

/* Level at line n of the series of `order` in a segment's spectrum that keeps step with the body over the whole run:
 * the synchronous average has the noise bandwidth 1 / its turns, a Hann segment 1.5 / its own. */
static double in_step(const lay_envelope_spectrum *e, size_t band, double order, int n) {
    for (size_t l = 0; l < e->locked_count && n <= LAY_LOCKED_LINES && e->locked_turns > 0; l++) {
        if (fabs(e->locked[l] - order) > 1e-6) continue;
        double ratio = e->lines[(l * e->band_count + band) * LAY_LOCKED_LINES + (size_t)n - 1].ratio;
        return 10 * log10(fmax(1e-6, ratio / e->step / (1.5 * e->locked_turns)));
    }
    return 0;
}

/* How far from a line of `peak` dB its skirt stands out of the noise, bins. */
static double skirt_reach(double peak) {
    double reach = SKIRT_BINS * pow(10, fmax(0, peak - SKIRT_FOOT_DB - SKIRT_LOW_DB) / 20);
    return fmin(reach, SKIRT_MOST_BINS);
}

static void take_off(const lay_strikes *s, double order, size_t band, const float *raw, float *own) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    double spacing = order / e->step;
    for (int n = 1; n * spacing < (double)e->bins - 1; n++) {
        double place = n * spacing, blur = 1e-4 * place;
        double made = fmax(beside(raw, e->bins, spacing, n), in_step(e, band, order, n) + STEP_DB);
        if (fabs(order - s->combs.firing) < 1e-6) made = LAY_STRIKE_MOST_DB;
        double peak = lay_strike_highest(raw, e->bins, place, LAY_STRIKE_EXACT_BINS + blur);
        double half = fmin(skirt_reach(peak), 0.5 * spacing) + blur;
        ptrdiff_t low = (ptrdiff_t)ceil(place - half), high = (ptrdiff_t)floor(place + half);
        for (ptrdiff_t i = low < 0 ? 0 : low; i <= high && i < (ptrdiff_t)e->bins; i++)
            own[i] = fminf(own[i], (float)left_beside(raw[i], fabs((double)i - place) - blur, peak, made));
    }
}

/* In a steady run what keeps a rate in Hz looks like an order: beats of tones that are fixed in Hz, and what lamps and
 * rectifiers do twice per period of the mains. */
static void take_off_hz(const lay_strikes *s, double hz, const float *raw, float *own) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    double place = hz / s->run->mean_hz / e->step;
    if (hz < HZ_LEAST || place >= (double)e->bins - 1) return;
    double blur = 0.5 * place * (s->run->max_hz - s->run->min_hz) / s->run->mean_hz + 0.5;
    double peak = lay_strike_highest(raw, e->bins, place, LAY_STRIKE_EXACT_BINS + blur);
    double half = skirt_reach(peak) + blur;
    ptrdiff_t low = (ptrdiff_t)ceil(place - half), high = (ptrdiff_t)floor(place + half);
    for (ptrdiff_t i = low < 0 ? 0 : low; i <= high && i < (ptrdiff_t)e->bins; i++)
        own[i] = fminf(own[i], (float)left_beside(raw[i], fabs((double)i - place) - blur, peak, LAY_STRIKE_MOST_DB));
}

static void take_off_fixed(const lay_strikes *s, const float *raw, float *own) {
    static const double mains[] = {100, 120};
    const lay_run_evidence *run = s->run;
    if (run->max_hz - run->min_hz > STEADY * run->mean_hz) return;
    for (int m = 0; m < 2; m++)
        for (int k = 1; k <= 4; k++) take_off_hz(s, k * mains[m], raw, own);
    for (size_t i = 0; i < run->fixed_hz_count && i < FIXED_MOST; i++)
        for (size_t j = 0; j < i; j++)
            for (int k = 1; k <= 3; k++) take_off_hz(s, k * fabs(run->fixed_hz[i] - run->fixed_hz[j]), raw, own);
}

static void fill(lay_strikes *s) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    for (size_t b = s->first; b < s->last; b++) {
        float *raw = s->raw + b * e->bins, *own = s->own + b * e->bins;
        for (size_t i = 0; i < e->bins; i++)
            raw[i] = fminf((float)LAY_STRIKE_MOST_DB, fmaxf(0, 10 * log10f(fmaxf(1e-6f, e->ratio[b * e->bins + i]))));
        memcpy(own, raw, e->bins * sizeof *own);
        for (size_t c = 0; c < s->combs.count; c++)
            if (s->combs.order[c] >= 4 * e->step) take_off(s, s->combs.order[c], b, raw, own);
        take_off_fixed(s, raw, own);
    }
}

/* ---- a slow series that nothing in the unit file makes: the joint of a belt, a chain ---- */

static bool near_bearing(const lay_run_evidence *run, double order) {
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        const double lines[] = {e->ftf, e->bpfo, e->bpfi, e->bsf2};
        if (e->type != LAY_PART_BEARING || !e->turning) continue;
        double slack = 0.03 + e->tolerance;
        for (int k = 0; k < 4; k++)
            for (int m = 1; m <= 2 && lines[k] > 0; m++)
                if (fabs(m * order - lines[k]) < slack * lines[k]) return true;
    }
    return false;
}

/* Level that three quarters of the first lines of a series reach in one band, 0 where there are too few. */
static double series_level(const float *row, size_t bins, double spacing) {
    double level[SERIES_LINES];
    if (SERIES_LINES * spacing > (double)bins - 2) return 0;
    for (int n = 1; n <= SERIES_LINES; n++) {
        level[n - 1] = lay_strike_highest(row, bins, n * spacing, 0.75);
        if (n == 4 && fmax(level[0], level[1]) < 0.5 * SERIES_DB && fmax(level[2], level[3]) < 0.5 * SERIES_DB)
            return 0;
    }
    return lay_quantile(level, SERIES_LINES, 0.25);
}

/* A dense series lays a line on everything: it is looked for at every slow order that no bearing has, and taken off. */
static void take_off_unknown(lay_strikes *s) {
    const lay_envelope_spectrum *e = &s->run->envelope;
    double best = SERIES_DB, order = 0, fine = e->step / SERIES_LINES;
    for (double d = fmax(SERIES_LOWEST, 6 * e->step); d < SERIES_HIGHEST; d += fine) {
        double here = 0;
        for (size_t b = s->first; b < s->last; b++)
            here = fmax(here, series_level(s->own + b * e->bins, e->bins, d / e->step));
        if (here > best && !near_bearing(s->run, d)) best = here, order = d;
    }
    for (size_t b = s->first; b < s->last && order > 0; b++)
        take_off(s, order, b, s->raw + b * e->bins, s->own + b * e->bins);
}

lay_status lay_strikes_new(const lay_run_evidence *run, lay_strikes **out, lay_error *err) {
    *out = NULL;
    const lay_envelope_spectrum *e = &run->envelope;
    if (!run->usable || e->band_count == 0 || !e->ratio) return LAY_OK;
    lay_strikes *s = lay_calloc(1, sizeof *s);
    if (!s) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to look for impacts");
    s->run = run;
    s->raw = lay_calloc(e->band_count * e->bins, sizeof *s->raw);
    s->own = lay_calloc(e->band_count * e->bins, sizeof *s->own);
    if (!s->raw || !s->own) {
        lay_strikes_free(s);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to look for impacts");
    }
    /* A single elementary band holds the beats of any two tones in it; what rings fills more than one. */
    s->first = e->elementary >= 8 ? e->elementary : 0;
    s->last = e->band_count;
    lay_combs_collect(run, &s->combs);
    fill(s);
    take_off_unknown(s);
    *out = s;
    return LAY_OK;
}

void lay_strikes_free(lay_strikes *s) {
    if (!s) return;
    free(s->raw);
    free(s->own);
    free(s);
}

size_t lay_strikes_first_band(const lay_strikes *s) {
    return s->first;
}

size_t lay_strikes_band_count(const lay_strikes *s) {
    return s->last - s->first;
}
