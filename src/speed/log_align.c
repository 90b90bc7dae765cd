/* Laying an rpm log onto a recording: the offset and drift of clocks at which the logged speeds are where the evidence
 * is.
 *
 * First the sum of evidence along the logged path is taken at every offset in steps of 0.1 s. The best of them, and the
 * best rivals elsewhere, are refined with drift on a smooth table. How far the best stands above its rivals is the
 * confidence. An offset is a rival when it makes another course of speed: where the log moves slowly it lies further
 * away. */
#include "log_search.h"

#include <math.h>

enum { PEAKS = 8, SAMPLES = 256, PARTS = 8 };

/* ---- the logged speed over time ---- */

static double gap_of(const lay_speed_log *log) {
    double mean = (log->time[log->count - 1] - log->time[0]) / (double)(log->count - 1);
    return fmax(3, 5 * mean);
}

/* The last reading at or before `t`; the log reaches on both sides of it. */
static size_t reading_before(const lay_speed_log *log, double t) {
    size_t low = 0, high = log->count - 1;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (log->time[middle] <= t)
            low = middle;
        else
            high = middle;
    }
    return low;
}

bool lay_log_at(const lay_speed_log *log, double offset_s, double drift, double t, double *hz) {
    double own = (t - offset_s) / (1 + drift);
    if (log->count < 2 || !(own >= log->time[0] && own <= log->time[log->count - 1])) return false;
    size_t i = reading_before(log, own);
    double step = log->time[i + 1] - log->time[i];
    if (step > gap_of(log)) return false;
    *hz = log->hz[i] + (log->hz[i + 1] - log->hz[i]) * (own - log->time[i]) / step;
    return true;
}

/* ---- how sure ---- */

/* Scatter of the evidence where nothing fits: over even offsets, robustly. */
static double scatter(const lay_log_search *s) {
    double sums[SAMPLES];
    size_t n = 0, met;
    for (int i = 0; i < SAMPLES; i++) {
        double offset = s->low_s + (s->high_s - s->low_s) * (i + 0.5) / SAMPLES;
        sums[n] = lay_log_scores_along(&s->fine, &s->path, offset, 0, &met);
        n += met > 0;
    }
    double middle = lay_median(sums, n);
    for (size_t i = 0; i < n; i++) sums[i] = fabs(sums[i] - middle);
    return 1.4826 * lay_median(sums, n); /* of the normal law */
}

/* Share of the overlap, cut into PARTS, that holds at least a quarter of the mean evidence. A log of another drive
 * meets ridges here and there by chance, its own log nearly everywhere. */
static double evenness(const lay_log_search *s, const lay_log_peak *p) {
    double from = p->offset_s + (1 + p->drift) * s->path.first_s;
    double to = from + (1 + p->drift) * (double)(s->path.count - 1) * s->path.step_s;
    double first = s->fine.first_s, last = first + (double)s->fine.frames * s->fine.hop_s;
    lay_log_scores part = s->fine;
    size_t even = 0, parts = 0;
    from = fmax(from, first);
    to = fmin(to, last);
    for (int k = 0; k < PARTS; k++) {
        size_t a = (size_t)fmax(0, (from + (to - from) * k / PARTS - first) / s->fine.hop_s);
        size_t b = (size_t)fmax(0, (from + (to - from) * (k + 1) / PARTS - first) / s->fine.hop_s), met;
        if (b > s->fine.frames) b = s->fine.frames;
        if (a >= b) continue;
        part.value = s->fine.value + a * s->fine.candidates;
        part.frames = b - a;
        part.first_s = first + (double)a * s->fine.hop_s;
        double sum = lay_log_scores_along(&part, &s->path, p->offset_s, p->drift, &met);
        if (met == 0) continue;
        parts++;
        even += sum / (double)met > 0.25 * p->sum / (double)p->met;
    }
    return parts > 0 ? (double)even / (double)parts : 0;
}

/* Set on random cases with known truth (tests/property/test_speed_log.c), with logs of other drives and with recordings
 * that hold nothing as the wrong ones. Each factor is near 1 when all is well: the lead over the best rival (wrong ones
 * below 0.3 but for lucky parts), the lead over chance, the evenness (right ones above 0.8, lucky ones about 0.5), and
 * how sharply the log tells time at all. */
static double confidence_of(const lay_log_search *s, const lay_log_peak *best, double rival_sum) {
    if (!(best->sum > 0)) return 0;
    double rival = fmax(rival_sum, 0), lead = 1 - rival / best->sum, chance = (best->sum - rival) / scatter(s) / 3;
    double sharp = 1 / (1 + s->lobe_s * s->lobe_s / 16);
    double clear = 1 / (1 + exp(-16 * (lead - 0.22))), even = 1 / (1 + exp(-16 * (evenness(s, best) - 0.74)));
    return clear * even * sharp * (1 - exp(-chance * chance));
}

typedef struct range {
    double low, high; /* candidates; low > high: empty */
} range;

static void widen(range *r, double candidate) {
    if (isnan(candidate)) return;
    r->low = fmin(r->low, candidate);
    r->high = fmax(r->high, candidate);
}

static bool is_steady(const lay_log_search *s, range r) {
    return !(r.high - r.low > 2 * s->different);
}

static bool steady_log(const lay_log_search *s) {
    range r = {INFINITY, -INFINITY};
    for (size_t i = 0; i < s->path.count; i++) widen(&r, s->path.candidate[i]);
    return is_steady(s, r);
}

static bool steady_overlap(const lay_log_search *s, const lay_log_peak *p) {
    range r = {INFINITY, -INFINITY};
    for (size_t f = 0; f < s->fine.frames; f++)
        widen(&r,
              lay_log_path_at(&s->path, (s->fine.first_s + (double)f * s->fine.hop_s - p->offset_s) / (1 + p->drift)));
    return is_steady(s, r);
}

/* The offset nearest 0 at which log and recording overlap as far as their lengths allow. */
static double widest_overlap(const lay_log_search *s, const lay_speed_log *log) {
    double begin = s->fine.first_s - log->time[0];
    double end = begin + (double)s->fine.frames * s->fine.hop_s - (log->time[log->count - 1] - log->time[0]);
    return fmin(fmax(0, fmin(begin, end)), fmax(begin, end));
}

/* Between the places the two give to the middle of the second one's overlap: refined with other drifts, one place may
 * come from far apart offsets. */
static double distance(const lay_log_peak *a, const lay_log_peak *b) {
    return fabs(a->offset_s - b->offset_s + (a->drift - b->drift) * b->middle_s);
}

static lay_status settle(const lay_log_search *s, const lay_speed_log *log, lay_log_fit *out, lay_error *err) {
    lay_log_peak peaks[PEAKS];
    size_t count = 0, best = 0;
    while (count < PEAKS && lay_log_next_peak(s, peaks, count, &peaks[count])) count++;
    if (count == 0)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the rpm log (%.0f s long) does not overlap the recording: give the log that was made with it",
                        log->time[log->count - 1] - log->time[0]);
    for (size_t i = 0; i < count; i++) lay_log_refine(s, &peaks[i]);
    for (size_t i = 1; i < count; i++)
        if (peaks[i].sum > peaks[best].sum) best = i;
    double rival = 0;
    for (size_t i = 0; i < count; i++)
        if (distance(&peaks[i], &peaks[best]) > s->lobe_s) rival = fmax(rival, peaks[i].sum);
    lay_log_peak p = peaks[best];
    *out = (lay_log_fit){.confidence = confidence_of(s, &p, rival), .flat = steady_overlap(s, &p)};
    if (steady_log(s)) p = (lay_log_peak){.offset_s = widest_overlap(s, log)};
    if (out->flat) out->confidence = fmin(out->confidence, 0.3);
    out->offset_s = p.offset_s;
    out->drift = p.drift;
    out->overlap_s = lay_log_overlap(s, &p, &p.middle_s);
    return LAY_OK;
}

lay_status lay_log_align(const lay_speed_log *log, const lay_speed_scores *scores, const lay_log_limits *limits,
                         lay_log_fit *out, lay_error *err) {
    lay_log_search s;
    *out = (lay_log_fit){0};
    if (log->count < 2 || scores->frames == 0 || scores->candidates == 0 || !(scores->low_hz > 0) ||
        !(scores->step > 0) || !(scores->hop_s > 0))
        return lay_fail(err, LAY_BAD_INPUT, "the rpm log or the recording is too short to be aligned");
    lay_status status = lay_log_search_open(&s, log, scores, limits, err);
    if (status == LAY_OK) status = settle(&s, log, out, err);
    lay_log_search_close(&s);
    return status;
}
