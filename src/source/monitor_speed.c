/* The speed while it runs: from the tach, or from the tones themselves. */
#include "monitor.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define STEP_SHARE 0.02   /* the speed changes by no more from one look to the next */
#define STATED_SHARE 0.06 /* a stated speed is good to so much at first, */
#define STATED_MOST 0.12  /* and never wrong by more */
#define NOISE_MEAN 0.259  /* of lg(1 + x) for exponential x: what noise alone gives, and its deviation */
#define NOISE_SD 0.182
#define CLEAR 6.8       /* deviations above it: tones are heard */
#define MISSES 8        /* looks without them, after which the speed is sought anew */
#define SLOPE_SHARE 0.4 /* of a new rate of change that is believed at once */
#define AGAIN_S 3.0     /* from one search to the next */
#define DOUBTFUL 0.2    /* confidence below which a speed that was sought is not shown at all */
#define SLOWEST_HZ 5.0
#define FASTEST_HZ 130.0

/* How well the tones stand where they would at (1 + shift) times the speed: the weighted mean of lg(1 + power over
 * noise), in deviations of what noise alone gives. */
static double comb_at(const lay_monitor *m, double shift) {
    double sum = 0, weight = 0, squares = 0;
    for (size_t i = 0; i < m->comb_count; i++) {
        double place = m->comb[i].order * (1 + shift) / m->step;
        size_t k = (size_t)place;
        if (k < 3 || k + 1 >= m->bins || !(m->floor[k] > 0)) continue;
        double share = place - floor(place), power = (1 - share) * m->power[k] + share * m->power[k + 1];
        sum += m->comb[i].heard * log10(1 + power / m->floor[k]);
        weight += m->comb[i].heard;
        squares += m->comb[i].heard * m->comb[i].heard;
    }
    return weight > 0 ? (sum - NOISE_MEAN * weight) / (NOISE_SD * sqrt(squares)) : 0;
}

/* Between the three best points of a grid as fine as the highest order of the comb asks for. */
static double best_shift(const lay_monitor *m, double most, double *score) {
    double highest = 1;
    for (size_t i = 0; i < m->comb_count; i++)
        if (m->comb[i].order < (double)m->bins * m->step) highest = fmax(highest, m->comb[i].order);
    double step = 0.5 * m->step / highest, best = 0, low = 0, high = 0;
    *score = -INFINITY;
    for (double shift = -most; shift <= most; shift += step) {
        double here = comb_at(m, shift);
        if (here <= *score) continue;
        *score = here;
        best = shift;
    }
    low = comb_at(m, best - step);
    high = comb_at(m, best + step);
    double curve = low - 2 * *score + high;
    return curve < 0 ? best + 0.5 * step * (low - high) / curve : best;
}

/* The rate of change is believed slowly: it only keeps fast tones from smearing. */
static void note_slope(lay_monitor *m, double before) {
    double now = (double)m->fed / m->options.rate - m->end_s - 0.5 * (m->start_s - m->end_s), span = now - m->found_s;
    double slope = m->found_s > 0 && span > 0.02 && span < 1 ? (m->hz - before) / span : 0;
    m->slope += SLOPE_SHARE * (slope - m->slope);
    if (span > 0.02) m->found_s = now;
}

static lay_status follow(lay_monitor *m, double most, bool *known, lay_error *err) {
    double score, before = m->hz;
    lay_status status = lay_monitor_spectrum(m, err);
    if (status == LAY_BAD_INPUT) {
        snprintf(m->trouble, sizeof m->trouble, "waiting for more sound");
        return LAY_OK;
    }
    if (status == LAY_OK) status = lay_floor_estimate(m->power, m->bins, 41, 1, m->floor, err);
    if (status != LAY_OK) return status;
    double shift = best_shift(m, most, &score);
    *known = score > CLEAR;
    if (!*known) snprintf(m->trouble, sizeof m->trouble, "no tones are heard by which the speed can be told");
    if (!*known) return LAY_OK;
    m->hz *= 1 + shift;
    note_slope(m, before);
    return LAY_OK;
}

/* ---- a speed that nobody told ---- */

static lay_status feed_all(lay_monitor *m, lay_track *track, lay_error *err) {
    enum { FRAMES = 4096 };
    double *block = lay_calloc(FRAMES * m->ring.channels, sizeof *block);
    lay_status status = block ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    for (size_t left = m->ring.held; status == LAY_OK && left > 0;) {
        size_t n = left < FRAMES ? left : FRAMES;
        lay_monitor_copy(m, left, left - n, block);
        status = lay_track_feed(track, block, n, err);
        left -= n;
    }
    free(block);
    return status;
}

static lay_status seek(lay_monitor *m, lay_error *err) {
    const lay_track_gear gear = {m->comb, m->comb_count, 1};
    const lay_track_options o = {.rate = m->options.rate,
                                 .channels = m->ring.channels,
                                 .low_hz = SLOWEST_HZ,
                                 .high_hz = FASTEST_HZ,
                                 .near_low_hz = m->options.spec->rpm_low / 60,
                                 .near_high_hz = m->options.spec->rpm_high / 60,
                                 .firing_order = m->firing,
                                 .gears = &gear,
                                 .gear_count = 1};
    lay_track *track = NULL;
    lay_track_result result = {0};
    lay_error why = {0};
    lay_status status = lay_track_new(&o, &track, &why);
    if (status == LAY_OK) status = feed_all(m, track, &why);
    if (status == LAY_OK) status = lay_track_finish(track, &result, &why);
    if (status == LAY_OK && result.shaft.count > 0 && result.shaft.confidence > DOUBTFUL) {
        m->hz = result.shaft.hz[result.shaft.count - 1];
        m->confidence = result.shaft.confidence;
    }
    lay_track_result_free(&result);
    lay_track_free(track);
    return status == LAY_BAD_INPUT || status == LAY_OK ? LAY_OK : lay_fail(err, status, "%s", why.message);
}

static lay_status from_sound(lay_monitor *m, bool *known, lay_error *err) {
    const lay_run_spec *spec = m->options.spec;
    double now = (double)m->fed / m->options.rate, stated = 0;
    bool single = spec->rpm_low > 0 && spec->rpm_low == spec->rpm_high;
    if (single) stated = spec->rpm_low / 60;
    bool fresh = m->hz == 0;
    if (fresh && single) m->hz = stated;
    if (fresh && single) m->confidence = 1;
    if (fresh && !single) {
        snprintf(m->trouble, sizeof m->trouble, "listening for the speed");
        if ((double)m->ring.held < LAY_MONITOR_SOUGHT * m->options.rate || now - m->sought_s < AGAIN_S) return LAY_OK;
        m->sought_s = now;
        lay_status status = seek(m, err);
        if (status != LAY_OK || m->hz == 0) return status;
    }
    lay_status status = follow(m, fresh && single ? STATED_SHARE : STEP_SHARE, known, err);
    m->misses = *known ? 0 : m->misses + 1;
    bool astray = stated > 0 && fabs(m->hz / stated - 1) > STATED_MOST;
    if (astray || m->misses > MISSES || (fresh && !*known)) {
        m->hz = m->slope = m->found_s = 0; /* begin again where it was stated, or seek it */
        *known = false;
    }
    return status;
}

static lay_status from_tach(lay_monitor *m, bool *known, lay_error *err) {
    lay_error why = {0};
    lay_shaft_free(&m->shaft);
    m->track = NULL;
    lay_status status = lay_tach_live_shaft(m->tach, &m->shaft, &why);
    if (status == LAY_BAD_INPUT) {
        snprintf(m->trouble, sizeof m->trouble, "%.150s", why.message);
        return LAY_OK;
    }
    if (status != LAY_OK) return lay_fail(err, status, "%s", why.message);
    *known = m->shaft.count > 1;
    if (!*known) return LAY_OK;
    m->track = &m->shaft;
    m->track_now = lay_tach_live_held(m->tach);
    m->confidence = 1;
    return LAY_OK;
}

lay_status lay_monitor_speed(lay_monitor *m, bool *known, lay_error *err) {
    *known = m->options.known != NULL;
    if (*known) {
        m->track = m->options.known;
        m->track_now = (double)m->fed / m->options.rate;
        m->confidence = m->track->confidence;
        return LAY_OK;
    }
    return m->tach ? from_tach(m, known, err) : from_sound(m, known, err);
}
