/* The search for the offset of an rpm log: all offsets coarsely, then single places finely. */
#include "log_search.h"

#include <math.h>
#include <stdlib.h>

enum { COARSE_FRAMES = 3000, FINE_FRAMES = 12000 };

static const double usual_offset_s = 120, usual_drift = 5e-4, longest_slide_s = 3600;
static const double coarse_step_s = 0.1;
static const double drift_needs_s = 60;     /* 5e-4 over 60 s moves the ends by 15 ms: less cannot be seen */
static const double another_course = 0.025; /* relative, rms: well beyond the hill about a ridge */
static const double farthest_lag_s = 10;

/* ---- all offsets ---- */

static double duration(const lay_speed_scores *s) {
    return (double)s->frames * s->hop_s;
}

static lay_status set_limits(lay_log_search *s, const lay_speed_log *log, const lay_speed_scores *scores,
                             const lay_log_limits *limits, lay_error *err) {
    double reach = limits != NULL && limits->max_offset_s > 0 ? limits->max_offset_s : usual_offset_s;
    double length = log->time[log->count - 1] - log->time[0], recorded = duration(scores);
    s->max_drift = limits != NULL && limits->max_drift > 0 ? limits->max_drift : usual_drift;
    s->low_s = -reach - fmin(fmax(length - recorded, 0), longest_slide_s);
    s->high_s = reach + fmin(fmax(recorded - length, 0), longest_slide_s);
    double least_s = fmin(3, 0.5 * fmin(length, recorded));
    s->least_met = (size_t)fmax(2, least_s / s->coarse.hop_s);
    s->offsets = (size_t)((s->high_s - s->low_s) / coarse_step_s) + 1;
    s->curve = lay_calloc(s->offsets, sizeof *s->curve);
    return s->curve != NULL ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to align the rpm log");
}

/* Root mean square change of the path over `lag_s`. */
static double change_over(const lay_log_path *path, double lag_s) {
    size_t lag = (size_t)(lag_s / path->step_s + 0.5), stride = 1 + path->count / 4000, count = 0;
    double sum = 0;
    for (size_t i = 0; i + lag < path->count; i += stride) {
        double change = path->candidate[i + lag] - path->candidate[i];
        if (isnan(change)) continue;
        sum += change * change;
        count++;
    }
    return count > 0 ? sqrt(sum / (double)count) : 0;
}

static void find_lobe(lay_log_search *s) {
    s->lobe_s = 0.3;
    while (s->lobe_s < farthest_lag_s && change_over(&s->path, s->lobe_s) < s->different) s->lobe_s += 0.1;
}

static void fill_curve(lay_log_search *s) {
    for (size_t i = 0; i < s->offsets; i++) {
        size_t met;
        double sum = lay_log_scores_along(&s->coarse, &s->path, s->low_s + (double)i * coarse_step_s, 0, &met);
        s->curve[i] = met >= s->least_met ? sum : -INFINITY;
    }
}

static lay_status check_path(const lay_log_search *s, const lay_speed_log *log, const lay_speed_scores *scores,
                             lay_error *err) {
    for (size_t i = 0; i < s->path.count; i++)
        if (!isnan(s->path.candidate[i])) return LAY_OK;
    double low = INFINITY, high = 0;
    for (size_t i = 0; i < log->count; i++) {
        low = fmin(low, log->hz[i]);
        high = fmax(high, log->hz[i]);
    }
    if (!(high > 0))
        return lay_fail(err, LAY_BAD_INPUT, "the shaft stands still in the whole rpm log: give the log of the drive");
    double top = scores->low_hz * exp((double)(scores->candidates - 1) * scores->step);
    return lay_fail(
        err, LAY_BAD_INPUT,
        "the rpm log holds %.0f to %.0f rpm, but the recording was searched from %.0f to %.0f rpm: check the "
        "unit of the log",
        60 * low, 60 * high, 60 * scores->low_hz, 60 * top);
}

lay_status lay_log_search_open(lay_log_search *s, const lay_speed_log *log, const lay_speed_scores *scores,
                               const lay_log_limits *limits, lay_error *err) {
    *s = (lay_log_search){.different = another_course / scores->step};
    lay_status status = lay_log_scores_make(scores, COARSE_FRAMES, true, &s->coarse, err);
    if (status == LAY_OK) status = lay_log_scores_make(scores, FINE_FRAMES, false, &s->fine, err);
    if (status == LAY_OK) status = set_limits(s, log, scores, limits, err);
    double last = (scores->first_s + duration(scores) - s->low_s) * 1.01; /* what no offset brings in is left out */
    if (status == LAY_OK) status = lay_log_path_make(log, scores, last, &s->path, err);
    if (status == LAY_OK) status = check_path(s, log, scores, err);
    if (status != LAY_OK) return status;
    find_lobe(s);
    fill_curve(s);
    return LAY_OK;
}

void lay_log_search_close(lay_log_search *s) {
    lay_log_scores_free(&s->coarse);
    lay_log_scores_free(&s->fine);
    lay_log_path_free(&s->path);
    free(s->curve);
}

/* The highest place of the curve outside the lobes of the first `count` peaks; false when none is left. */
bool lay_log_next_peak(const lay_log_search *s, const lay_log_peak *peaks, size_t count, lay_log_peak *out) {
    double best = -INFINITY;
    for (size_t i = 0; i < s->offsets; i++) {
        double offset = s->low_s + (double)i * coarse_step_s;
        bool taken = !(s->curve[i] > best);
        for (size_t k = 0; k < count && !taken; k++) taken = fabs(offset - peaks[k].offset_s) <= s->lobe_s;
        if (taken) continue;
        best = s->curve[i];
        *out = (lay_log_peak){.offset_s = offset, .sum = best};
    }
    return isfinite(best);
}

/* ---- refining one peak ---- */

static double fine_sum(const lay_log_search *s, const lay_log_peak *p, size_t *met) {
    return lay_log_scores_along(&s->fine, &s->path, p->offset_s, p->drift, met);
}

/* The same moment in the middle of the overlap keeps its place while the drift changes. */
static lay_log_peak with_drift(const lay_log_peak *p, double drift) {
    lay_log_peak out = *p;
    out.drift = drift;
    out.offset_s -= (drift - p->drift) * p->middle_s;
    return out;
}

static void try_peak(const lay_log_search *s, lay_log_peak candidate, lay_log_peak *best) {
    candidate.sum = fine_sum(s, &candidate, &candidate.met);
    if (candidate.sum > best->sum) *best = candidate;
}

static void move_offset(const lay_log_search *s, lay_log_peak *p, double step_s, int steps) {
    lay_log_peak start = *p;
    for (int i = -steps; i <= steps; i++) {
        lay_log_peak candidate = start;
        candidate.offset_s += i * step_s;
        if (i != 0) try_peak(s, candidate, p);
    }
}

static void move_drift(const lay_log_search *s, lay_log_peak *p, double step, int steps) {
    lay_log_peak start = *p;
    for (int i = -steps; i <= steps; i++) {
        double drift = start.drift + i * step;
        if (i != 0 && fabs(drift) <= s->max_drift * 1.0001) try_peak(s, with_drift(&start, drift), p);
    }
}

/* Vertex of the parabola through three places `step_s` apart. */
static void to_vertex(const lay_log_search *s, lay_log_peak *p, double step_s) {
    lay_log_peak before = *p, after = *p;
    before.offset_s -= step_s;
    after.offset_s += step_s;
    double a = fine_sum(s, &before, NULL), b = fine_sum(s, p, NULL), c = fine_sum(s, &after, NULL);
    if (a < b && c < b) p->offset_s += 0.5 * step_s * (a - c) / (a - 2 * b + c);
}

/* Where the overlap lies on the log's clock; its length in recording time. */
double lay_log_overlap(const lay_log_search *s, const lay_log_peak *p, double *middle_s) {
    double sum = 0;
    size_t met = 0;
    for (size_t f = 0; f < s->fine.frames; f++) {
        double own = (s->fine.first_s + (double)f * s->fine.hop_s - p->offset_s) / (1 + p->drift);
        if (isnan(lay_log_path_at(&s->path, own))) continue;
        sum += own;
        met++;
    }
    *middle_s = met > 0 ? sum / (double)met : 0;
    return (double)met * s->fine.hop_s;
}

void lay_log_refine(const lay_log_search *s, lay_log_peak *p) {
    double overlap = lay_log_overlap(s, p, &p->middle_s);
    p->sum = fine_sum(s, p, &p->met);
    move_offset(s, p, coarse_step_s / 2, 6);
    for (double part = 4; overlap >= drift_needs_s && part <= 32; part *= 2) {
        move_drift(s, p, s->max_drift / part, part == 4 ? 4 : 1);
        move_offset(s, p, coarse_step_s / part, 4);
    }
    move_offset(s, p, coarse_step_s / 5, 2);
    to_vertex(s, p, coarse_step_s / 4);
}
