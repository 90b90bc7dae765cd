/* Condition of a gear from the average turn of a wheel. */
#include "gear_lines.h"

#include <math.h>
#include <stdlib.h>

#define NOTHING 1e-20 /* share of the energy below which what is left is rounding */

/* ---- signals ---- */

void lay_gear_signals_free(lay_gear_signals *s) {
    if (!s) return;
    free(s->residual);
    free(s->difference);
    free(s->regular);
    free(s->band);
    free(s->amplitude);
    free(s->phase);
    *s = (lay_gear_signals){0};
}

static lay_status make_signals(size_t points, lay_gear_signals *s, lay_error *err) {
    *s = (lay_gear_signals){.points = points};
    s->residual = lay_calloc(points, sizeof(double));
    s->difference = lay_calloc(points, sizeof(double));
    s->regular = lay_calloc(points, sizeof(double));
    s->band = lay_calloc(points, sizeof(double));
    s->amplitude = lay_calloc(points, sizeof(double));
    s->phase = lay_calloc(points, sizeof(double));
    if (s->residual && s->difference && s->regular && s->band && s->amplitude && s->phase) return LAY_OK;
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for a wheel's condition");
}

/* Amplitude and phase of the band; `phase` holds its quadrature on the way in. */
static void demodulate(const lay_gear_lines *g, lay_gear_signals *s) {
    double before = 0;
    for (size_t i = 0; i < s->points; i++) {
        double carrier = 2 * LAY_PI * (double)((size_t)g->teeth * i % s->points) / (double)s->points;
        double phase = atan2(s->phase[i], s->band[i]) - carrier;
        s->amplitude[i] = hypot(s->band[i], s->phase[i]);
        before += remainder(phase - before, 2 * LAY_PI);
        s->phase[i] = before;
    }
}

static void fill_signals(lay_gear_lines *g, const double *x, lay_gear_signals *s) {
    lay_gear_lines_of(g, x);
    lay_gear_lines_signal(g, LAY_GEAR_SIDEBAND, s->residual);
    lay_gear_lines_signal(g, LAY_GEAR_REST, s->difference);
    lay_gear_lines_band(g, s->band, s->phase);
    for (size_t i = 0; i < s->points; i++) s->regular[i] = x[i] - s->difference[i];
    demodulate(g, s);
}

lay_status lay_gear_signals_of(const double *x, size_t points, const lay_condition_options *options,
                               lay_gear_signals *out, lay_error *err) {
    *out = (lay_gear_signals){0};
    lay_gear_lines lines;
    lay_status status = lay_gear_lines_init(&lines, points, options, err);
    if (status == LAY_OK) status = make_signals(points, out, err);
    if (status == LAY_OK) fill_signals(&lines, x, out);
    lay_gear_lines_free(&lines);
    if (status != LAY_OK) lay_gear_signals_free(out);
    return status;
}

/* ---- indicators ---- */

/* Sum of (x - mean)^p. */
static double moment(const double *x, size_t n, int p) {
    double mean = lay_mean(x, n), sum = 0;
    for (size_t i = 0; i < n; i++) sum += pow(x[i] - mean, p);
    return sum;
}

static double energy(const double *x, size_t n) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) sum += x[i] * x[i];
    return sum;
}

/* n^(p/2 - 1) sum (x - mean)^p / (sum (x - mean)^2)^(p/2); NaN where nothing is left of an energy of `whole`. */
static double normalised(const double *x, size_t n, int p, double whole) {
    double square = moment(x, n, 2);
    if (!(square > NOTHING * whole)) return NAN;
    return pow((double)n, p / 2 - 1) * moment(x, n, p) / pow(square, p / 2);
}

/* n times the fourth moment of the latest over the squared mean of the second moments of all; `all` holds them one
 * after the other, the latest last. */
static double against_record(const double *all, size_t count, size_t n, double whole) {
    double mean = 0;
    for (size_t r = 0; r < count; r++) mean += moment(all + r * n, n, 2) / (double)count;
    if (!(mean > NOTHING * whole)) return NAN;
    return (double)n * moment(all + (count - 1) * n, n, 4) / (mean * mean);
}

/* Residuals and band envelopes of all records into arrays of their own. */
static lay_status follow_records(lay_gear_lines *g, const double *records, size_t count, lay_condition *out,
                                 lay_error *err) {
    size_t n = g->points;
    double *residual = lay_calloc(count * n, sizeof *residual), *envelope = lay_calloc(count * n, sizeof *envelope);
    lay_gear_signals s;
    lay_status status = make_signals(n, &s, err);
    if (status == LAY_OK && (!residual || !envelope))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for a wheel's condition");
    double whole = 0;
    for (size_t r = 0; r < count && status == LAY_OK; r++) {
        fill_signals(g, records + r * n, &s);
        whole += energy(records + r * n, n) / (double)count;
        for (size_t i = 0; i < n; i++) residual[r * n + i] = s.residual[i], envelope[r * n + i] = s.amplitude[i];
    }
    if (status == LAY_OK) {
        out->na4 = against_record(residual, count, n, whole);
        out->nb4 = against_record(envelope, count, n, whole);
    }
    lay_gear_signals_free(&s);
    free(residual);
    free(envelope);
    return status;
}

/* Where a window of one tooth holds most of the difference. */
static void find_worst(const double *difference, size_t n, int teeth, double whole, lay_condition *out) {
    size_t width = n / (size_t)teeth ? n / (size_t)teeth : 1, at = 0;
    double all = energy(difference, n), sum = energy(difference, width), most = sum;
    out->worst_turn = out->worst_ratio = NAN;
    if (!(all > NOTHING * whole)) return;
    for (size_t i = 1; i < n; i++) {
        double gone = difference[i - 1], come = difference[(i - 1 + width) % n];
        sum += come * come - gone * gone;
        if (sum > most) most = sum, at = i;
    }
    out->worst_turn = fmod(((double)at + 0.5 * (double)width) / (double)n, 1);
    out->worst_ratio = most / (all * (double)width / (double)n);
}

static double mesh_amplitudes(const lay_gear_lines *g) {
    double sum = 0;
    for (size_t k = 0; k < g->count; k++)
        if (g->kind[k] == LAY_GEAR_MESH) sum += lay_gear_lines_amplitude(g, k);
    return sum;
}

static void measure(lay_gear_lines *g, const double *x, const lay_gear_signals *s, lay_condition *out) {
    size_t n = s->points;
    double whole = energy(x, n), most = -INFINITY, least = INFINITY, peak = 0;
    for (size_t i = 0; i < n; i++) {
        most = fmax(most, x[i]);
        least = fmin(least, x[i]);
        peak = fmax(peak, fabs(x[i]));
    }
    double mesh = mesh_amplitudes(g), sd = sqrt(moment(x, n, 2) / (double)n);
    double upper = lay_gear_lines_amplitude(g, (size_t)g->teeth + 1);
    double lower = lay_gear_lines_amplitude(g, (size_t)g->teeth - 1);
    out->rms = sqrt(whole / (double)n);
    out->crest = out->rms > 0 ? peak / out->rms : NAN;
    out->kurtosis = normalised(x, n, 4, whole);
    out->residual_kurtosis = normalised(s->residual, n, 4, whole);
    out->fm0 = mesh * mesh * (double)n > NOTHING * whole ? (most - least) / mesh : NAN;
    out->fm4 = normalised(s->difference, n, 4, whole);
    out->m6a = normalised(s->difference, n, 6, whole);
    out->m8a = normalised(s->difference, n, 8, whole);
    out->si = 0.5 * (upper + lower);
    out->slf = sd > 0 ? (upper + lower) / sd : NAN;
    double regular = energy(s->regular, n);
    out->er = regular > NOTHING * whole ? sqrt(energy(s->difference, n) / regular) : NAN;
    find_worst(s->difference, n, g->teeth, whole, out);
}

lay_status lay_condition_of(const double *x, size_t points, const double *records, size_t record_count,
                            const lay_condition_options *options, lay_condition *out, lay_error *err) {
    *out = (lay_condition){0};
    lay_gear_lines lines;
    lay_gear_signals signals = {0};
    lay_status status = lay_gear_lines_init(&lines, points, options, err);
    if (status == LAY_OK) status = make_signals(points, &signals, err);
    if (status == LAY_OK) status = follow_records(&lines, records ? records : x, records ? record_count : 1, out, err);
    if (status == LAY_OK) {
        fill_signals(&lines, x, &signals);
        measure(&lines, x, &signals, out);
    }
    lay_gear_signals_free(&signals);
    lay_gear_lines_free(&lines);
    return status;
}
