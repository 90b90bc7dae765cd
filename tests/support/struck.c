#include "struck.h"

#include "cmocka_all.h"

#include <math.h>
#include <stdlib.h>

#define KNOTS 201

static void make_shaft(struck *s) {
    lay_shaft *shaft = &s->shaft;
    *shaft = (lay_shaft){.count = KNOTS, .segment_count = 1, .confidence = 1};
    shaft->time = lay_calloc(KNOTS, sizeof(double));
    shaft->turns = lay_calloc(KNOTS, sizeof(double));
    shaft->hz = lay_calloc(KNOTS, sizeof(double));
    shaft->segment_start = lay_calloc(1, sizeof(size_t));
    assert_true(shaft->time && shaft->turns && shaft->hz && shaft->segment_start);
    for (int i = 0; i < KNOTS; i++) {
        double t = s->seconds * i / (KNOTS - 1);
        shaft->time[i] = t;
        shaft->turns[i] = struck_turns(s, t);
        shaft->hz[i] = s->low_hz + (s->high_hz - s->low_hz) * t / s->seconds;
    }
}

void struck_make(struck *s, double noise, uint64_t seed) {
    make_shaft(s);
    s->frames = (size_t)(s->rate * s->seconds);
    size_t count = s->frames * (size_t)s->channels;
    s->x = lay_calloc(count, sizeof *s->x);
    assert_non_null(s->x);
    lay_random_seed(&s->random, seed);
    for (size_t i = 0; i < count && noise > 0; i++) s->x[i] = noise * lay_random_normal(&s->random);
}

void struck_free(struck *s) {
    free(s->x);
    lay_shaft_free(&s->shaft);
    *s = (struck){0};
}

double struck_turns(const struck *s, double t) {
    return s->low_hz * t + 0.5 * (s->high_hz - s->low_hz) / s->seconds * t * t;
}

void struck_tone(struck *s, double hz, double amplitude) {
    for (size_t i = 0; i < s->frames; i++)
        for (int c = 0; c < s->channels; c++)
            s->x[i * (size_t)s->channels + (size_t)c] += amplitude * sin(2 * LAY_PI * hz * (double)i / s->rate);
}

/* Time at which the shaft has made so many turns. */
static double time_of(const struck *s, double turns) {
    double slope = (s->high_hz - s->low_hz) / s->seconds;
    return fabs(slope) > 0 ? (sqrt(s->low_hz * s->low_hz + 2 * slope * turns) - s->low_hz) / slope : turns / s->low_hz;
}

void struck_rings(struck *s, const struck_train *train) {
    int from = train->channel < 0 ? 0 : train->channel, to = train->channel < 0 ? s->channels : train->channel + 1;
    for (size_t blow = 0;; blow++) {
        double turns = ((double)blow + train->first) / train->order, at = time_of(s, turns);
        double size = train->amplitude * (0.5 + 0.5 * cos(2 * LAY_PI * train->swing * turns));
        size_t start = (size_t)ceil(at * s->rate);
        if (start >= s->frames) return;
        for (size_t i = start; i < s->frames; i++) {
            double t = (double)i / s->rate - at;
            if (t > 12 * train->decay_s) break;
            double x = size * exp(-t / train->decay_s) * sin(2 * LAY_PI * train->hz * t);
            for (int c = from; c < to; c++) s->x[i * (size_t)s->channels + (size_t)c] += x;
        }
    }
}

lay_status struck_analyse(const struck *s, lay_envelope_options options, size_t chunk, lay_envelope_spectrum *out,
                          lay_error *err) {
    lay_envelope *envelope = NULL;
    options.rate = s->rate;
    options.channels = s->channels;
    if (chunk == 0) chunk = s->frames;
    lay_status status = lay_envelope_new(&options, &s->shaft, &envelope, err);
    for (size_t i = 0; i < s->frames && status == LAY_OK; i += chunk)
        status = lay_envelope_feed(envelope, s->x + i * (size_t)s->channels,
                                   chunk < s->frames - i ? chunk : s->frames - i, err);
    if (status == LAY_OK) status = lay_envelope_finish(envelope, out, err);
    lay_envelope_free(envelope);
    return status;
}

lay_envelope_spectrum struck_spectrum(const struck *s) {
    lay_envelope_spectrum e = {0};
    lay_error err = {0};
    if (struck_analyse(s, (lay_envelope_options){0}, 0, &e, &err) != LAY_OK) fail_msg("%s", err.message);
    return e;
}

double struck_ratio(const lay_envelope_spectrum *e, size_t band, double order, size_t within, size_t *at) {
    size_t centre = (size_t)lround(order / e->step), best = centre - within;
    assert_true(centre > within && centre + within < e->bins);
    const float *row = e->ratio + band * e->bins;
    for (size_t i = centre - within; i <= centre + within; i++)
        if (row[i] > row[best]) best = i;
    if (at) *at = best;
    return (double)row[best];
}

size_t struck_band(const lay_envelope_spectrum *e, double hz) {
    for (size_t b = 0; b < e->elementary; b++)
        if (e->bands[b].low_hz <= hz && hz < e->bands[b].high_hz) return b;
    fail_msg("no band holds %g Hz", hz);
    return 0;
}
