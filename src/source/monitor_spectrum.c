/* The order spectrum of the last moments: as much sound as fills the window, read at even steps of the shaft's angle.
 */
#include "monitor.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define HALF_WIDTH 12
#define BETA 8.0
#define LOBE 2    /* bins either side that hold a tone under a Hann window */
#define AROUND 10 /* bins either side whose lower half tells the noise */

void lay_monitor_copy(const lay_monitor *m, size_t start, size_t end, double *out) {
    const lay_monitor_ring *r = &m->ring;
    for (size_t i = start; i > end; i--) {
        size_t place = (r->at + r->room - i) % r->room;
        memcpy(out + (start - i) * r->channels, r->x + place * r->channels, r->channels * sizeof *out);
    }
}

/* Buffers for as many points as samples, a power of two; the plan is made anew only when the window grows or shrinks.
 */
static lay_status make_room(lay_monitor *m, size_t frames, lay_error *err) {
    size_t points = 1024;
    while (points < frames) points *= 2;
    size_t extra = 2 * HALF_WIDTH;
    if (frames + extra > m->room) {
        free(m->frames);
        m->room = 0;
        m->frames = lay_calloc((frames + extra) * m->ring.channels, sizeof *m->frames);
        if (!m->frames) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
        m->room = frames + extra;
    }
    if (points == m->points) return LAY_OK;
    double **buffers[] = {&m->window, &m->warped, &m->input, &m->pairs, &m->power, &m->floor};
    size_t sizes[] = {points, points, points, points + 2, points / 2 + 1, points / 2 + 1};
    lay_fft_free(m->fft);
    m->fft = NULL;
    m->points = 0;
    for (size_t i = 0; i < sizeof buffers / sizeof buffers[0]; i++) {
        free(*buffers[i]);
        *buffers[i] = lay_calloc(sizes[i], sizeof **buffers[i]);
        if (!*buffers[i]) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    }
    lay_status status = lay_fft_new(points, &m->fft, err);
    if (status == LAY_OK && !m->sinc) status = lay_sinc_new(HALF_WIDTH, BETA, &m->sinc, err);
    if (status != LAY_OK) return status;
    lay_window_fill(LAY_WINDOW_HANN, m->window, points);
    m->enbw = lay_window_enbw(m->window, points);
    m->points = points;
    return LAY_OK;
}

/* The segment of the shaft in which it turns now, or did last; false when it never did. */
static bool last_segment(const lay_monitor *m, size_t *segment, double *start, double *end) {
    const lay_shaft *s = m->track;
    for (size_t k = s->segment_count; k-- > 0;) {
        size_t last = k + 1 < s->segment_count ? s->segment_start[k + 1] : s->count;
        *start = s->time[s->segment_start[k]];
        *end = fmin(s->time[last - 1], m->track_now);
        *segment = k;
        if (*start < *end) return true;
    }
    return false;
}

/* What is looked at: s before the newest sample. With a tach it ends at its last pulse. */
static bool choose_span(lay_monitor *m) {
    double held = (double)m->ring.held / m->options.rate, edge = (HALF_WIDTH + 1) / m->options.rate, hz = m->hz;
    double start = 0, end = 0, lag = 0, turns;
    if (m->track) {
        if (!last_segment(m, &m->segment, &start, &end) || !lay_shaft_at(m->track, end - 1e-9, NULL, &turns, &hz))
            return false;
        lag = m->track_now - end;
    }
    double span = fmin(LAY_MONITOR_LONGEST, fmax(LAY_MONITOR_WINDOW, LAY_MONITOR_TURNS / hz));
    m->end_s = fmax(lag, edge);
    m->start_s = m->end_s + span;
    if (m->track) m->start_s = fmin(m->start_s, m->track_now - start);
    return lag < span && m->start_s - m->end_s > 0.5 * span && m->start_s + edge < held;
}

/* Speed hz in the middle, changing by slope: turns = hz u + slope u^2 / 2 with u from the middle. */
static void place_evenly_rising(lay_monitor *m, double *turns, double *out) {
    double span = m->start_s - m->end_s, half = 0.5 * span, slope = m->slope;
    double most = 0.8 * m->hz / half; /* it may not stand still in between */
    slope = fmax(-most, fmin(most, slope));
    *turns = m->hz * span;
    m->min_hz = m->hz - fabs(slope) * half;
    m->max_hz = m->hz + fabs(slope) * half;
    double first = -m->hz * half + 0.5 * slope * half * half;
    for (size_t i = 0; i < m->points; i++) {
        double angle = first + *turns * (double)i / (double)m->points, root = sqrt(m->hz * m->hz + 2 * slope * angle);
        out[i] = half + 2 * angle / (m->hz + root);
    }
}

/* Where in time each of the points lies, in s after the start, evenly spaced in angle; *turns is the whole angle. */
static void place_points(lay_monitor *m, double *turns, double *out) {
    const lay_shaft *s = m->track;
    if (!s) {
        place_evenly_rising(m, turns, out);
        return;
    }
    double from = m->track_now - m->start_s, to = m->track_now - m->end_s, first = 0, last = 0, hz;
    size_t hint = 0;
    lay_shaft_at(s, from + 1e-9, NULL, &first, &m->min_hz);
    lay_shaft_at(s, to - 1e-9, NULL, &last, &m->max_hz);
    hz = m->min_hz;
    m->min_hz = fmin(hz, m->max_hz);
    m->max_hz = fmax(hz, m->max_hz);
    *turns = last - first;
    for (size_t i = 0; i < m->points; i++) {
        double t = from;
        lay_shaft_time(s, m->segment, first + *turns * (double)i / (double)m->points, &hint, &t);
        out[i] = t - from;
    }
}

/* `first`: the sample at which the span begins. */
static void add_channel(lay_monitor *m, size_t channel, const double *at, size_t frames, double first) {
    size_t n = m->points, stride = m->ring.channels;
    double scale = 0;
    for (size_t i = 0; i < n; i++) {
        scale += m->window[i];
        m->input[i] = m->window[i] *
                      lay_sinc_at(m->sinc, m->frames + channel, frames, stride, at[i] * m->options.rate + first, 1);
    }
    lay_fft_forward(m->fft, m->input, m->pairs);
    double gain = m->gains[channel] * m->gains[channel] * 2 / (scale * scale);
    for (size_t k = 0; k <= n / 2; k++)
        m->power[k] += gain * (m->pairs[2 * k] * m->pairs[2 * k] + m->pairs[2 * k + 1] * m->pairs[2 * k + 1]);
}

lay_status lay_monitor_spectrum(lay_monitor *m, lay_error *err) {
    if (!choose_span(m)) return lay_fail(err, LAY_BAD_INPUT, "waiting for more sound");
    double rate = m->options.rate, turns;
    size_t end = (size_t)floor(m->end_s * rate) - HALF_WIDTH, start = (size_t)ceil(m->start_s * rate) + HALF_WIDTH;
    lay_status status = make_room(m, start - end, err);
    if (status != LAY_OK) return status;
    lay_monitor_copy(m, start, end, m->frames);
    place_points(m, &turns, m->warped);
    memset(m->power, 0, (m->points / 2 + 1) * sizeof *m->power);
    for (size_t c = 0; c < m->ring.channels; c++)
        add_channel(m, c, m->warped, start - end, (double)start - m->start_s * rate);
    m->step = 1 / turns;
    double top = fmin(0.45 * rate / fmax(m->max_hz, 1e-3), lay_plan_max_order(m->expected, m->expected_count));
    m->bins = (size_t)fmin((double)(m->points / 2), floor(top / m->step));
    return turns > 0 ? LAY_OK : lay_fail(err, LAY_BAD_INPUT, "the shaft stands still");
}

/* ---- at an order ---- */

/* Mean of the noise in a bin: the lower half of the bins around a tone, whose mean of exponentials is 1 - ln 2 of all.
 */
static double noise_about(const lay_monitor *m, size_t bin) {
    double around[2 * AROUND];
    size_t n = 0;
    for (int d = -(AROUND + LOBE); d <= AROUND + LOBE; d++) {
        int64_t k = (int64_t)bin + d;
        if (abs(d) > LOBE && k > 0 && k < (int64_t)m->bins && n < 2 * AROUND) around[n++] = m->power[k];
    }
    if (n < 4) return 0;
    double middle = lay_median(around, n), sum = 0;
    size_t below = 0;
    for (size_t i = 0; i < n; i++)
        if (around[i] <= middle) {
            sum += around[i];
            below++;
        }
    return below ? sum / (double)below / (1 - log(2)) : 0;
}

double lay_monitor_power(const lay_monitor *m, double order, double *floor_power) {
    *floor_power = 0;
    double place = order / m->step;
    if (!(place > LOBE) || place + LOBE + 1 >= (double)m->bins) return 0;
    size_t bin = (size_t)lrint(place);
    double sum = 0;
    for (size_t k = bin - LOBE; k <= bin + LOBE; k++) sum += m->power[k];
    *floor_power = noise_about(m, bin) * (2 * LOBE + 1) / m->enbw;
    return sum / m->enbw;
}
