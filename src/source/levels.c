/* How loud the lines of every part were, look by look, so that two recordings can be held against each other at the
 * same speeds. */
#include "level_lines.h"
#include "tone.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LOOKS_MOST 1024
#define HOP 8.0 /* turns from one look to the next */
#define GROUND_LOW_HZ 500.0
#define GROUND_HIGH_HZ 5000.0
#define HIGHEST 0.45 /* of the rate */
#define REACH_ORDERS 0.8
#define COARSE 3.0   /* times the power in the fine spectrum, speed being known well enough for that */
#define PASSING 0.01 /* change of speed within a look */

typedef struct measuring {
    const lay_run_evidence *run;
    lay_levels *out;
    double rate;
    double *density; /* [classes * line_count] noise per order in the rows of the order map */
    double *ground;  /* [classes] mean ground of the looks there */
    double *scratch; /* [bins] */
    size_t scratch_count;
    size_t per_look, filled; /* segments that make a look, and in the last one */
} measuring;

/* ---- one segment ---- */

/* Median noise between the lines, per Hz: lines are few among the bins. */
static double ground_of(measuring *m, const lay_order_segment *s) {
    size_t first = (size_t)(GROUND_LOW_HZ / s->hz / s->step) + 1;
    size_t last = (size_t)(fmin(GROUND_HIGH_HZ, 0.4 * m->rate) / s->hz / s->step);
    if (last >= s->bins) last = s->bins - 1;
    if (last >= m->scratch_count) last = m->scratch_count - 1;
    if (first + 20 > last) first = last > 40 ? last / 2 : 0; /* a slow sensor: the upper half of what there is */
    size_t n = last + 1 - first;
    memcpy(m->scratch, s->power + first, n * sizeof *m->scratch);
    return lay_median(m->scratch, n) / (s->enbw * s->step * s->hz);
}

/* A tone fixed in Hz passes the line at this speed. */
static bool passed(const lay_run_evidence *run, const lay_order_segment *s, double order, size_t reach) {
    for (size_t i = 0; i < run->fixed_hz_count; i++)
        if (fabs(run->fixed_hz[i] / s->hz - order) < ((double)reach + 1.5) * s->step + PASSING * order) return true;
    return false;
}

static double line_power(const measuring *m, const lay_order_segment *s, double order) {
    size_t centre = (size_t)lround(order / s->step), reach = lay_level_reach(m->run, order, s->step);
    double sum = 0;
    if (centre < reach || centre + reach >= s->bins || order * s->hz > HIGHEST * m->rate) return NAN;
    if (passed(m->run, s, order, reach)) return NAN;
    for (size_t i = centre - reach; i <= centre + reach; i++) sum += s->power[i];
    return sum / s->enbw;
}

static void merge_pairs(lay_levels *v) {
    size_t n = v->line_count;
    for (size_t i = 0; i < v->looks / 2; i++) {
        size_t a = 2 * i, b = a + 1;
        v->hz[i] = 0.5 * (v->hz[a] + v->hz[b]);
        v->seconds[i] = v->seconds[a] + v->seconds[b];
        v->ground[i] = 0.5 * (v->ground[a] + v->ground[b]);
        for (size_t k = 0; k < n; k++) v->power[i * n + k] = 0.5 * (v->power[a * n + k] + v->power[b * n + k]);
    }
    v->looks /= 2;
}

static void take(const lay_order_segment *s, void *user) {
    measuring *m = user;
    lay_levels *v = m->out;
    if (m->filled == 0 && v->looks == LOOKS_MOST) {
        merge_pairs(v);
        m->per_look *= 2;
    }
    size_t i = m->filled == 0 ? v->looks : v->looks - 1, n = v->line_count;
    double share = 1 / (double)m->per_look;
    if (m->filled == 0) v->looks++, v->hz[i] = v->seconds[i] = v->ground[i] = 0;
    for (size_t k = 0; k < n; k++)
        v->power[i * n + k] = share * line_power(m, s, v->lines[k].order) + (m->filled == 0 ? 0 : v->power[i * n + k]);
    v->hz[i] += share * s->hz;
    v->seconds[i] += HOP / s->hz;
    v->ground[i] += share * ground_of(m, s);
    m->filled = (m->filled + 1) % m->per_look;
}

/* ---- noise ---- */

static void measure_noise(measuring *m) {
    const lay_order_spectrum *s = &m->run->spectrum;
    for (size_t r = 0; r < s->classes; r++)
        for (size_t k = 0; k < m->out->line_count; k++) {
            double order = m->out->lines[k].order;
            bool there = s->class_segments[r] >= 1 && order + s->step < s->top_order[r];
            m->density[r * m->out->line_count + k] = there ? lay_row_density(s, r, order) : NAN;
        }
}

/* Rows of the map either side of a speed, and the weight of the upper one. */
static bool rows_at(const lay_order_spectrum *s, double hz, size_t *low, size_t *high, double *weight) {
    *low = *high = s->classes;
    for (size_t r = 0; r < s->classes; r++) {
        if (s->class_segments[r] < 1) continue;
        if (s->class_hz[r] <= hz || *low == s->classes) *low = r;
        if (s->class_hz[r] >= hz) {
            *high = r;
            break;
        }
    }
    if (*low == s->classes) return false;
    if (*high == s->classes) *high = *low;
    double span = s->class_hz[*high] - s->class_hz[*low];
    *weight = span > 0 ? fmin(1, fmax(0, (hz - s->class_hz[*low]) / span)) : 0;
    return true;
}

/* The ground that the looks near each row of the map had in the mean. */
static void measure_ground(measuring *m) {
    const lay_order_spectrum *s = &m->run->spectrum;
    for (size_t r = 0; r < s->classes; r++) {
        double sum = 0, weights = 0;
        for (size_t i = 0; i < m->out->looks; i++) {
            double off = (m->out->hz[i] / s->class_hz[r] - 1) / 0.05, w = exp(-0.5 * off * off) + 1e-12;
            sum += w * m->out->ground[i];
            weights += w;
        }
        m->ground[r] = weights > 0 ? sum / weights : 0;
    }
}

/* Noise at a line: what the map has at this speed, as much louder as this look's ground is. */
static void take_noise_off(measuring *m) {
    lay_levels *v = m->out;
    size_t n = v->line_count;
    for (size_t i = 0; i < v->looks; i++) {
        size_t low, high;
        double w, step = 1 / v->turns;
        bool known = rows_at(&m->run->spectrum, v->hz[i], &low, &high, &w);
        double usual = known ? (1 - w) * m->ground[low] + w * m->ground[high] : 0;
        double louder = usual > 0 ? v->ground[i] / usual : 1;
        for (size_t k = 0; k < n; k++) {
            double a = known ? m->density[low * n + k] : NAN, b = known ? m->density[high * n + k] : NAN;
            double bins = 2.0 * (double)lay_level_reach(m->run, v->lines[k].order, step) + 1;
            double density = isnan(a) ? b : isnan(b) ? a : (1 - w) * a + w * b;
            v->noise[i * n + k] = louder * density * bins * step;
            v->power[i * n + k] -= v->noise[i * n + k];
        }
    }
}

/* Hann's window makes neighbouring bins hang together: the sum of m of them scatters like that of about
 * m sum(w^2)^2 / (n sum(w^4)) independent ones, be it noise alone or noise against a tone (derived here; 1.944 is the
 * window's 35/128 over (3/8)^2). */
#define BINS_A_VALUE 1.944

static void count_bins(measuring *m) {
    for (size_t k = 0; k < m->out->line_count; k++) {
        lay_level_line *line = &m->out->lines[k];
        double bins = 2.0 * (double)lay_level_reach(m->run, line->order, 1 / m->out->turns) + 1;
        line->bins = bins / BINS_A_VALUE;
    }
}

/* What a look takes for the line but the fine spectrum has nowhere near is a neighbour's. */
static void check_against_fine(measuring *m) {
    lay_levels *v = m->out;
    for (size_t k = 0; k < v->line_count; k++) {
        double sum = 0, noise = 0;
        size_t n = 0;
        for (size_t i = 0; i < v->looks; i++) {
            if (isnan(v->power[i * v->line_count + k])) continue;
            sum += v->power[i * v->line_count + k];
            noise += v->noise[i * v->line_count + k];
            n++;
        }
        lay_tone tone;
        lay_tone_at(m->run, v->lines[k].order, 0, &tone);
        double fine = tone.valid ? fmax(0, tone.power) : 0;
        if (n > 0 && sum / (double)n > COARSE * fine + noise / (double)n) v->lines[k].crowded = true;
    }
}

/* ---- the whole run ---- */

static lay_status make_room(measuring *m, double top, lay_error *err) {
    lay_levels *v = m->out;
    size_t classes = m->run->spectrum.classes, values = LOOKS_MOST * v->line_count;
    m->scratch_count = (size_t)(top * v->turns) + 2;
    m->scratch = lay_calloc(m->scratch_count, sizeof(double));
    m->density = lay_calloc(classes * v->line_count, sizeof(double));
    m->ground = lay_calloc(classes, sizeof(double));
    v->hz = lay_calloc(LOOKS_MOST, sizeof(double));
    v->seconds = lay_calloc(LOOKS_MOST, sizeof(double));
    v->ground = lay_calloc(LOOKS_MOST, sizeof(double));
    v->power = lay_calloc(values, sizeof(double));
    v->noise = lay_calloc(values, sizeof(double));
    bool all = m->scratch && m->density && m->ground && v->hz && v->seconds && v->ground && v->power && v->noise;
    return all ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to measure the parts");
}

static lay_status feed(const double *frames, size_t count, void *user, lay_error *err) {
    return lay_order_feed(user, frames, count, err);
}

static lay_status read_run(measuring *m, lay_run_stream *stream, double top, lay_error *err) {
    lay_order *order = NULL;
    lay_order_spectrum mean = {0};
    lay_order_options options = {.rate = m->rate,
                                 .channels = lay_run_stream_channels(stream),
                                 .max_order = top,
                                 .resolution = 1 / m->out->turns,
                                 .window = LAY_WINDOW_HANN,
                                 .overlap = 1 - HOP / m->out->turns,
                                 .speed_classes = 1,
                                 .sink = take,
                                 .user = m};
    lay_status status = lay_order_new(&options, &m->run->shaft, &order, err);
    if (status == LAY_OK) status = lay_run_stream_each(stream, feed, order, err);
    if (status == LAY_OK) status = lay_order_finish(order, &mean, err);
    if (status == LAY_OK && m->filled > 0) m->out->looks--; /* of several segments, and not full */
    if (status == LAY_OK) {
        m->out->turns = 1 / mean.step; /* shorter where the recording is */
        m->out->averages = mean.averages / (double)mean.segments;
    }
    lay_order_spectrum_free(&mean);
    lay_order_free(order);
    return status;
}

lay_status lay_run_levels(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                          const lay_run_evidence *run, lay_levels *out, lay_error *err) {
    *out = (lay_levels){0};
    if (!run->usable || run->shaft.count < 2)
        return lay_fail(err, LAY_BAD_INPUT, "the speed of this run is not known, so no part can be measured");
    measuring m = {.run = run, .out = out, .per_look = 1};
    double top = (double)(run->spectrum.bins - 1) * run->spectrum.step;
    lay_run_stream *stream = NULL;
    lay_status status =
        lay_level_lines_collect(run, top - REACH_ORDERS, &out->lines, &out->line_count, &out->turns, err);
    if (status == LAY_OK) status = make_room(&m, top, err);
    if (status == LAY_OK) status = lay_run_stream_open(unit, spec, table_path, &stream, err);
    if (status == LAY_OK) {
        m.rate = lay_run_stream_rate(stream);
        status = read_run(&m, stream, top, err);
    }
    if (status == LAY_OK) {
        measure_noise(&m);
        measure_ground(&m);
        take_noise_off(&m);
        check_against_fine(&m);
        count_bins(&m);
    }
    lay_run_stream_close(stream);
    free(m.scratch);
    free(m.density);
    free(m.ground);
    if (status != LAY_OK) lay_levels_free(out);
    return status;
}

void lay_levels_free(lay_levels *levels) {
    if (!levels) return;
    free(levels->lines);
    free(levels->hz);
    free(levels->seconds);
    free(levels->ground);
    free(levels->power);
    free(levels->noise);
    *levels = (lay_levels){0};
}
