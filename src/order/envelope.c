#include "follower.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Squared envelope spectra in the angle domain.
 *
 * The energy of every band is taken over even pieces of angle, PER_TURN to a turn, as the difference of its running
 * sum: no energy is lost and none is counted twice at any speed. Segments are transformed band by band; the spectrum of
 * a union of bands is the sum of theirs, since energies add. The unions are the division of a fast kurtogram into 1, 2,
 * 3, 4, 6, 8, 12
 * ... bands (Antoni, MSSP 21 (2007) 108, layout from memory of the work); which of them shows a part is decided by the
 * part's own orders, not by the kurtosis, so that a stone cannot choose the band. */

#define PER_TURN 64
#define HIGHEST_ORDER 28.0
#define MOST_TURNS 128
#define LEAST_TURNS 8
#define SEGMENTS_LENGTH 1.55 /* the recording must hold two overlapping segments */

static size_t levels(size_t bands, size_t *parts) {
    static const size_t divisions[] = {1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48};
    size_t n = 0;
    for (size_t i = 0; i < sizeof divisions / sizeof *divisions; i++)
        if (2 * divisions[i] <= bands) parts[n++] = divisions[i];
    return n;
}

static lay_status divide(lay_envelope *e, lay_error *err) {
    size_t parts[16], bands = e->bank.bands, level_count = levels(bands, parts), count = bands;
    for (size_t l = 0; l < level_count; l++) count += parts[l];
    e->from = lay_calloc(count, sizeof *e->from);
    e->to = lay_calloc(count, sizeof *e->to);
    e->power = lay_calloc(count * e->bins, sizeof *e->power);
    if (!e->from || !e->to || !e->power) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    for (size_t b = 0; b < bands; b++) e->from[b] = b, e->to[b] = b + 1;
    e->band_count = bands;
    for (size_t l = 0; l < level_count; l++)
        for (size_t i = 0; i < parts[l]; i++) {
            e->from[e->band_count] = i * bands / parts[l];
            e->to[e->band_count++] = (i + 1) * bands / parts[l];
        }
    return LAY_OK;
}

/* Set up for segments of `turns`. */
static lay_status size_for(lay_envelope *e, size_t turns, double max_order, lay_error *err) {
    e->turns = turns;
    e->n = turns * PER_TURN;
    e->hop = e->n / 2;
    e->bins = (size_t)(max_order * (double)turns) + 1;
    size_t bands = e->bank.bands;
    lay_status status = lay_fft_new(e->n, &e->fft, err);
    if (status != LAY_OK) return status;
    e->window = lay_calloc(e->n, sizeof(double));
    e->scratch = lay_calloc(e->n + 2, sizeof(double));
    e->pairs = lay_calloc(bands * (e->n + 2), sizeof(double));
    e->fill = lay_calloc(bands * e->n, sizeof(double));
    if (!e->window || !e->scratch || !e->pairs || !e->fill)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    lay_window_fill(LAY_WINDOW_HANN, e->window, e->n);
    return divide(e, err);
}

/* Turns of the longest stretch, and which it is. */
static double longest_stretch(const lay_shaft *shaft, size_t *which) {
    double most = 0;
    for (size_t s = 0; s < shaft->segment_count; s++) {
        size_t end = s + 1 < shaft->segment_count ? shaft->segment_start[s + 1] : shaft->count;
        double turns = shaft->turns[end - 1] - shaft->turns[shaft->segment_start[s]];
        if (turns > most) most = turns, *which = s;
    }
    return most;
}

static size_t segment_turns(double stretch) {
    size_t turns = LEAST_TURNS;
    while (turns < MOST_TURNS && 2 * SEGMENTS_LENGTH * (double)turns <= stretch) turns *= 2;
    return turns;
}

lay_status lay_envelope_new(const lay_envelope_options *options, const lay_shaft *shaft, lay_envelope **out,
                            lay_error *err) {
    *out = NULL;
    size_t which = 0;
    double stretch = longest_stretch(shaft, &which);
    lay_envelope *e = lay_calloc(1, sizeof *e);
    if (!e) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    double min_hz, mean_hz, max_hz, revolutions;
    lay_shaft_range(shaft, &min_hz, &mean_hz, &max_hz, &revolutions);
    lay_status status = shaft->count < 2 || !(max_hz > 0)
                            ? lay_fail(err, LAY_BAD_INPUT, "the shaft does not turn in this recording")
                            : lay_bank_init(&e->bank, options->rate, options->channels, err);
    double order = options->max_order > 0 ? fmin(options->max_order, 0.45 * PER_TURN) : HIGHEST_ORDER;
    if (status == LAY_OK) status = size_for(e, options->turns ? options->turns : segment_turns(stretch), order, err);
    if (status == LAY_OK) status = lay_synchronous_init(&e->average, options, e->bank.bands, which, err);
    size_t bands = e->bank.bands;
    if (status == LAY_OK) {
        e->before = lay_calloc(bands, sizeof(double));
        e->after = lay_calloc(bands, sizeof(double));
        e->edge = lay_calloc(bands, sizeof(double));
        e->piece = lay_calloc(bands, sizeof(double));
        if (!e->before || !e->after || !e->edge || !e->piece)
            status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    }
    if (status != LAY_OK) {
        lay_envelope_free(e);
        return status;
    }
    lay_clock_init(&e->clock, shaft, PER_TURN);
    *out = e;
    return LAY_OK;
}

/* What belongs to one length of segment, the segment itself apart. */
static void let_go(lay_envelope *e) {
    lay_fft_free(e->fft);
    e->fft = NULL;
    free(e->window);
    free(e->scratch);
    free(e->pairs);
    free(e->from);
    free(e->to);
    free(e->power);
    e->window = e->scratch = e->pairs = e->power = NULL;
    e->from = e->to = NULL;
}

void lay_envelope_free(lay_envelope *e) {
    if (!e) return;
    let_go(e);
    lay_bank_free(&e->bank);
    lay_synchronous_free(&e->average);
    free(e->before);
    free(e->after);
    free(e->edge);
    free(e->piece);
    free(e->fill);
    free(e);
}

/* ---- a full segment ---- */

static void add_band(lay_envelope *e, size_t band) {
    double *power = e->power + band * e->bins;
    for (size_t i = 0; i < e->bins; i++) {
        double re = 0, im = 0;
        for (size_t b = e->from[band]; b < e->to[band]; b++) {
            const double *pair = e->pairs + b * (e->n + 2) + 2 * i;
            re += pair[0];
            im += pair[1];
        }
        power[i] += re * re + im * im;
    }
}

static void take_segment(lay_envelope *e) {
    for (size_t b = 0; b < e->bank.bands; b++) {
        double *x = e->fill + b * e->n, mean = lay_mean(x, e->n);
        double scale = mean > 0 ? 1 / mean : 0;
        for (size_t i = 0; i < e->n; i++) e->scratch[i] = (x[i] * scale - 1) * e->window[i];
        lay_fft_forward(e->fft, e->scratch, e->pairs + b * (e->n + 2));
        memmove(x, x + e->hop, (e->n - e->hop) * sizeof *x);
    }
    for (size_t band = 0; band < e->band_count; band++) add_band(e, band);
    e->covered += (double)(e->goes_on ? e->hop : e->n) / PER_TURN;
    e->goes_on = true;
    e->segments++;
    e->filled = e->n - e->hop;
}

/* ---- from time to angle ---- */

static void put(lay_envelope *e, double t) {
    double u = (t - e->before_s) / (e->after_s - e->before_s), span = t - e->edge_s;
    bool counts = e->edged && span > 0;
    for (size_t b = 0; b < e->bank.bands; b++) {
        double sum = e->before[b] + u * (e->after[b] - e->before[b]);
        e->piece[b] = counts ? (sum - e->edge[b]) / span : 0;
        e->edge[b] = sum;
    }
    e->edge_s = t;
    e->edged = true;
    if (!counts) return;
    for (size_t b = 0; b < e->bank.bands; b++) e->fill[b * e->n + e->filled] = e->piece[b];
    double turns = e->clock.start_turns + ((double)e->clock.index - 0.5) / PER_TURN;
    lay_synchronous_put(&e->average, e->clock.segment, turns, 1.0 / PER_TURN, e->piece);
    if (++e->filled == e->n) take_segment(e);
}

static void next_stretch(lay_envelope *e) {
    e->filled = 0;
    e->edged = e->goes_on = false;
    lay_clock_next_segment(&e->clock);
}

/* Every angle that falls before the latest short spectrum. */
static void follow(lay_envelope *e) {
    double t, hz;
    while (!e->clock.ended) {
        if (!lay_clock_peek(&e->clock, &t, &hz)) {
            next_stretch(e);
            continue;
        }
        if (t >= e->after_s) return;
        if (t >= e->before_s && e->bank.frames > 1) put(e, t);
        lay_clock_advance(&e->clock);
    }
}

static void advance(lay_envelope *e) {
    size_t bands = e->bank.bands;
    double hop_s = (double)e->bank.hop / e->bank.rate;
    double now = lay_bank_time(&e->bank) + 0.5 * hop_s,
           span = now - e->after_s; /* a spectrum speaks for a hop around it */
    memcpy(e->before, e->after, bands * sizeof *e->before);
    e->before_s = e->after_s;
    e->after_s = now;
    for (size_t b = 0; b < bands; b++) e->after[b] += e->bank.energy[b] * span;
    follow(e);
}

lay_status lay_envelope_feed(lay_envelope *e, const double *frames, size_t count, lay_error *err) {
    (void)err;
    while (count > 0) {
        bool ready = false;
        size_t taken = lay_bank_feed(&e->bank, frames, count, &ready);
        if (ready) advance(e);
        frames += taken * (size_t)e->bank.channels;
        count -= taken;
    }
    return LAY_OK;
}

lay_status lay_envelope_shorten(lay_envelope *e, lay_error *err) {
    size_t turns = e->turns, have = e->filled, n = e->n;
    while (turns > LEAST_TURNS && turns * PER_TURN > have) turns /= 2;
    if (turns * PER_TURN > have) return LAY_OK;
    double *whole = e->fill, order = (double)(e->bins - 1) / (double)e->turns;
    let_go(e);
    e->fill = NULL;
    e->filled = 0;
    lay_status status = size_for(e, turns, order, err);
    for (size_t i = 0; i < have && status == LAY_OK; i++) {
        for (size_t b = 0; b < e->bank.bands; b++) e->fill[b * e->n + e->filled] = whole[b * n + i];
        if (++e->filled == e->n) take_segment(e);
    }
    free(whole);
    return status;
}
