/* Evidence for speeds over time, made comparable, and the logged speed as a path through it.
 *
 * A row counts by how far a speed stands out of its own row (value less the median, over the mean deviation, within
 * limits), so that loud moments do not outvote quiet ones. From each speed its mean over the whole recording is taken
 * off: what a speed scores at all times - hum, an idle that lasts - says nothing of when the log was made. */
#include "log_scores.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double least = -3, most = 8; /* of a standardised score */

static const double forgiven = 0.008; /* relative: what a log's steps, noise and lag within a reading make */

/* Candidates to either side. */
static size_t reach_of(const lay_speed_scores *scores) {
    return scores->step > forgiven / 1.5 ? 1 : (size_t)(forgiven / scores->step + 0.5);
}

/* ---- one row ---- */

static void copy_row(const float *row, size_t n, double *out) {
    for (size_t i = 0; i < n; i++) out[i] = isfinite(row[i]) ? (double)row[i] : 0;
}

/* `work` is a second array of the row's length. */
static void standardise(double *row, double *work, size_t n) {
    double spread = 0;
    memcpy(work, row, n * sizeof *row);
    double middle = lay_median(work, n);
    for (size_t i = 0; i < n; i++) spread += fabs(row[i] - middle) / (double)n;
    for (size_t i = 0; i < n; i++) row[i] = spread > 0 ? fmin(fmax((row[i] - middle) / spread, least), most) : 0;
}

static double largest_near(const double *row, size_t n, size_t i, size_t reach) {
    double value = row[i];
    for (size_t j = i >= reach ? i - reach : 0; j <= i + reach && j < n; j++)
        if (row[j] > value) value = row[j];
    return value;
}

/* Triangular weights: 1 2 3 2 1 over 9 for a reach of 2. */
static double hill(const double *row, size_t n, size_t i, size_t reach) {
    double sum = 0, top = (double)reach + 1;
    for (size_t j = i >= reach ? i - reach : 0; j <= i + reach && j < n; j++)
        sum += (top - fabs((double)j - (double)i)) * row[j];
    return sum / (top * top);
}

/* ---- the table ---- */

/* `mean` has room for a row. */
static void take_off_means(lay_log_scores *s, double *mean) {
    for (size_t c = 0; c < s->candidates; c++) mean[c] = 0;
    for (size_t f = 0; f < s->frames; f++)
        for (size_t c = 0; c < s->candidates; c++) mean[c] += (double)s->value[f * s->candidates + c];
    for (size_t f = 0; f < s->frames; f++)
        for (size_t c = 0; c < s->candidates; c++)
            s->value[f * s->candidates + c] -= (float)(mean[c] / (double)s->frames);
}

lay_status lay_log_scores_make(const lay_speed_scores *scores, size_t most_frames, bool wide, lay_log_scores *out,
                               lay_error *err) {
    size_t n = scores->candidates, reach = reach_of(scores), stride = 1 + (scores->frames - 1) / most_frames;
    *out = (lay_log_scores){.frames = (scores->frames + stride - 1) / stride, .candidates = n};
    out->first_s = scores->first_s;
    out->hop_s = scores->hop_s * (double)stride;
    lay_status status = LAY_OK;
    double *row = lay_calloc(n, sizeof *row), *work = lay_calloc(n, sizeof *work);
    out->value = n > 0 && out->frames <= SIZE_MAX / n ? lay_calloc(out->frames * n, sizeof *out->value) : NULL;
    if (row == NULL || work == NULL || out->value == NULL) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to align the rpm log");
        goto done;
    }
    for (size_t f = 0; f < out->frames; f++) {
        copy_row(scores->score + f * stride * n, n, row);
        standardise(row, work, n);
        for (size_t c = 0; c < n; c++)
            out->value[f * n + c] = (float)(wide ? largest_near(row, n, c, reach) : hill(row, n, c, reach));
    }
    take_off_means(out, row);
done:
    free(row);
    free(work);
    if (status != LAY_OK) lay_log_scores_free(out);
    return status;
}

void lay_log_scores_free(lay_log_scores *s) {
    free(s->value);
    *s = (lay_log_scores){0};
}

/* ---- the path ---- */

lay_status lay_log_path_make(const lay_speed_log *logged, const lay_speed_scores *scores, double last_s,
                             lay_log_path *out, lay_error *err) {
    double first = logged->time[0], last = fmin(logged->time[logged->count - 1], last_s);
    *out = (lay_log_path){.first_s = first, .step_s = 0.05};
    out->count = last > first ? (size_t)((last - first) / out->step_s) + 1 : 1;
    out->candidate = lay_calloc(out->count, sizeof *out->candidate);
    if (out->candidate == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to align the rpm log");
    double top = (double)(scores->candidates - 1);
    for (size_t i = 0; i < out->count; i++) {
        double hz, c = NAN;
        if (lay_log_at(logged, 0, 0, first + (double)i * out->step_s, &hz) && hz > 0)
            c = log(hz / scores->low_hz) / scores->step;
        out->candidate[i] = c >= 0 && c <= top ? c : NAN;
    }
    return LAY_OK;
}

void lay_log_path_free(lay_log_path *p) {
    free(p->candidate);
    *p = (lay_log_path){0};
}

double lay_log_path_at(const lay_log_path *p, double t) {
    double x = (t - p->first_s) / p->step_s;
    if (!(x >= 0 && x <= (double)(p->count - 1))) return NAN;
    size_t i = (size_t)x;
    double c = p->candidate[i];
    return i + 1 < p->count ? c + (x - (double)i) * (p->candidate[i + 1] - c) : c;
}

/* ---- both together ---- */

/* The first frame at or after recording time `t`. */
static size_t frame_from(const lay_log_scores *s, double t) {
    double f = ceil((t - s->first_s) / s->hop_s);
    return f >= (double)s->frames ? s->frames : f > 0 ? (size_t)f : 0;
}

double lay_log_scores_along(const lay_log_scores *s, const lay_log_path *p, double offset_s, double drift,
                            size_t *met) {
    double sum = 0, end_s = p->first_s + (double)p->count * p->step_s;
    size_t count = 0, end = frame_from(s, offset_s + (1 + drift) * end_s);
    for (size_t f = frame_from(s, offset_s + (1 + drift) * p->first_s); f < end; f++) {
        double t = s->first_s + (double)f * s->hop_s, c = lay_log_path_at(p, (t - offset_s) / (1 + drift));
        if (!(c >= 0)) continue;
        size_t i = (size_t)c;
        const float *row = s->value + f * s->candidates;
        double x = c - (double)i, a = (double)row[i];
        sum += i + 1 < s->candidates ? a + x * ((double)row[i + 1] - a) : a;
        count++;
    }
    if (met != NULL) *met = count;
    return sum;
}
