#include "scale.h"

#include "peaks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Peaks of the mean spectrum are what there is to explain. An order that is heard with chance p and meets a peak adds
 * log(1 - p + p KAPPA q^(KAPPA - 1)), where q is the chance that an arbitrary place nearby meets a peak as strong (the
 * density KAPPA q^(KAPPA - 1) of a p-value under the alternative: Sellke, Bayarri and Berger, Am. Stat. 55 (2001) 62;
 * value from memory of that work). Places are judged against the recording's own crowd of peaks, so neither many lines
 * nor many orders are evidence by themselves. */
#define KAPPA 0.2
#define HEARD_CLASSES 100
#define LEAST_NATS 8.0
#define NOISE_NATS 14.0 /* less may be noise that the path was fitted to, */
#define SURE_NATS 50.0  /* this much more is not */
#define MOST_PEAKS 240
#define LEAST_BIN 4.0
#define TOLERANCE_BINS 0.8
#define NEIGHBOURHOOD 0.35 /* of the order, either way */
#define NEIGHBOURHOOD_BINS 30.0
#define FACTOR_STEP 1e-4    /* the highest lines are no wider */
#define LEADING_PEAKS 24    /* clearest peaks, one of which an answer must explain */
#define LEADING_ENGINE 0.35 /* by orders that are heard with this chance */
#define LEADING_OTHER 0.15
#define PLACE_BINS 0.4 /* uncertainty of a peak's place */
#define WHOLE_SPAN 2.0 /* of log factor, of a sweep sought everywhere */
#define EXPLAINED 2.0  /* nats for having explained the strongest peak */
#define USUAL_HZ 37.0  /* 2200 rpm, usual in tests, with the spread below in log (common practice, no source) */
#define USUAL_SPREAD 0.6
#define NEAR_SLACK 0.93   /* overshoot of a stated range */
#define STATED_WRONG -5.0 /* nats: chance, and how thinly it spreads */
#define WEAKER 1.0        /* nepers of power */
#define PATTERN_SLOPE 1.0 /* nats per neper of power */
#define PATTERN_MOST 5.0
#define ABOVE_MIDDLE 1.0 /* multiples of the firing order over the engine's other orders: right above, twice below */
#define ODD_MIDDLE -2.0
#define ENGINE_TOP_HZ 1200.0 /* every speed explains the engine's lines up to here */
#define ENGINE_SILENT -1.0
#define SAME_SPEED 0.004

typedef struct peak {
    lay_peak at;
    double weight; /* of explaining it, 0..1 */
    double chance; /* q */
    double lift;   /* KAPPA q^(KAPPA - 1) */
} peak;

typedef struct bench {
    const lay_profile *profile;
    const lay_track_options *options;
    double bin, bin_hz; /* one bin at mean speed, in orders of the path, and in Hz */
    peak peaks[MOST_PEAKS];
    size_t peak_count;
    size_t *nearest;                  /* [profile->count]: peak within the tolerance, or MOST_PEAKS */
    double missed[HEARD_CLASSES + 1]; /* what an order adds that meets no peak */
    float *height;                    /* [profile->count]: log of the highest mean within the tolerance, at least 0 */
} bench;

static lay_status find_peaks(bench *b, lay_error *err) {
    lay_peak found[MOST_PEAKS];
    lay_status status = lay_peaks_find(b->profile, LEAST_NATS, MOST_PEAKS, found, &b->peak_count, err);
    for (size_t k = 0; k < b->peak_count; k++) b->peaks[k].at = found[k];
    return status;
}

/* How crowded it is about a peak with others as strong. */
static void judge_peaks(bench *b) {
    double tolerance = TOLERANCE_BINS * b->bin;
    for (size_t i = 0; i < b->peak_count; i++) {
        peak *p = &b->peaks[i];
        double reach = fmax(NEIGHBOURHOOD * p->at.order, NEIGHBOURHOOD_BINS * b->bin);
        double width = reach + fmin(reach, p->at.order);
        size_t as_strong = 0;
        for (size_t k = 0; k <= i; k++) as_strong += fabs(b->peaks[k].at.order - p->at.order) <= reach;
        p->chance = fmin(1, (double)as_strong * 2 * tolerance / width);
        p->lift = KAPPA * pow(p->chance, KAPPA - 1);
        double share = p->at.height / b->peaks[0].at.height;
        p->weight = share * share * fmax(0, fmin(1, (p->at.nats - NOISE_NATS) / SURE_NATS));
    }
    for (size_t i = 0; i < b->profile->count; i++) b->nearest[i] = MOST_PEAKS;
    for (size_t k = b->peak_count; k-- > 0;) { /* stronger ones overwrite */
        double from = (b->peaks[k].at.order - tolerance) / b->profile->step,
               to = (b->peaks[k].at.order + tolerance) / b->profile->step;
        for (double i = fmax(0, ceil(from)); i <= to && i < (double)b->profile->count; i++) b->nearest[(size_t)i] = k;
    }
}

static size_t heard_class(double heard) {
    return (size_t)(heard * HEARD_CLASSES + 0.5);
}

static void fill_missed(bench *b) {
    for (size_t i = 0; i <= HEARD_CLASSES; i++) {
        double heard = (double)i / HEARD_CLASSES;
        b->missed[i] = log(1 - heard + heard * KAPPA);
    }
}

static size_t peak_at(const bench *b, double order) {
    double at = order / b->profile->step + 0.5;
    return at < (double)b->profile->count ? b->nearest[(size_t)at] : (size_t)MOST_PEAKS;
}

static void fill_heights(bench *b) {
    size_t reach = (size_t)(TOLERANCE_BINS * LAY_PEAK_BIN_POINTS), count = b->profile->count;
    for (size_t i = 0; i < count; i++) {
        float best = 1;
        for (size_t k = i > reach ? i - reach : 0; k <= i + reach && k < count; k++)
            best = fmaxf(best, b->profile->mean[k]);
        b->height[i] = logf(best);
    }
}

/* Natural logarithm of the mean ratio at an order of the reference, at least 0. */
static double height(const bench *b, double order, double factor) {
    double at = order * factor / b->profile->step + 0.5;
    return at >= 0 && at < (double)b->profile->count ? (double)b->height[(size_t)at] : 0;
}

/* An engine's other orders are weaker than the multiples of its firing order about them; one that is not belongs to
 * something else. */
static bool too_loud(const bench *b, double order, double factor) {
    double firing = b->options->firing_order, k = order / firing;
    if (fabs(k - round(k)) < 1e-3 || fabs(2 * order - round(2 * order)) > 1e-6) return false;
    double above = height(b, ceil(k) * firing, factor);
    double below = k > 1 ? height(b, floor(k) * firing, factor) : above;
    return height(b, order, factor) > 0.5 * (above + below) - WEAKER;
}

typedef struct tally {
    bool explained[MOST_PEAKS + 1];
    int matched;
} tally;

/* What the engine's orders, or all the others, add at a factor: they stand at order * factor on the path's axis. */
static double add_orders(const bench *b, const lay_track_gear *gear, bool engine, double factor, tally *t) {
    double sum = 0, first = (LEAST_BIN + 2) * b->bin,
           last = ((double)b->profile->count - LAY_PEAK_APART - 1) * b->profile->step;
    double engine_last = fmin(last, ENGINE_TOP_HZ / b->bin_hz * b->bin);
    for (size_t i = 0; i < gear->count; i++) {
        double at = gear->orders[i].order * factor, heard = gear->orders[i].heard;
        if (gear->orders[i].engine != engine || at < first || at > (engine ? engine_last : last)) continue;
        size_t k = peak_at(b, at);
        if (k == MOST_PEAKS || (engine && too_loud(b, gear->orders[i].order, factor))) {
            sum += b->missed[heard_class(heard)];
            continue;
        }
        if (t->explained[k]) continue;
        t->explained[k] = true;
        t->matched++;
        sum += log(1 - heard + heard * b->peaks[k].lift);
    }
    return sum;
}

/* What is explained counts on top of it. */
static double explained(const bench *b, const tally *t) {
    double sum = 0;
    for (size_t k = 0; k < b->peak_count; k++)
        if (t->explained[k]) sum += EXPLAINED * b->peaks[k].weight;
    return sum;
}

/* ---- the engine's own pattern ---- */

static bool fires_at(const lay_track_options *o, double order) {
    return fabs(order / o->firing_order - round(order / o->firing_order)) < 1e-3;
}

/* Highest of the engine's other orders between two multiples of the firing order. */
static double between(const bench *b, const lay_track_gear *gear, double low, double high, double factor) {
    double best = 0;
    for (size_t i = 0; i < gear->count; i++) {
        const lay_track_order *o = &gear->orders[i];
        if (!o->engine || o->order <= low || o->order >= high || fires_at(b->options, o->order)) continue;
        if (2 * o->order != round(2 * o->order)) continue; /* an auxiliary's */
        best = fmax(best, height(b, o->order, factor));
    }
    return best;
}

/* An engine's loudest orders are multiples of its firing order, the odd multiples no weaker than the even ones (common
 * practice, no source). Read at twice its speed, the loudest would lie halfway between; at half of it, the odd
 * multiples would be missing. */
static double engine_pattern(const bench *b, const lay_track_gear *gear, double factor) {
    double firing = b->options->firing_order, fires[5], others = 0;
    if (!(firing > 0)) return 0;
    for (int k = 1; k <= 4; k++) {
        fires[k] = height(b, k * firing, factor);
        others += between(b, gear, (k - 1) * firing, k * firing, factor) / 4;
    }
    double mean = (fires[1] + fires[2] + fires[3] + fires[4]) / 4;
    double above = mean - others, odd = 0.5 * (fires[1] + fires[3]) - 0.5 * (fires[2] + fires[4]);
    return fmax(-PATTERN_MOST, fmin(PATTERN_MOST, PATTERN_SLOPE * (above - ABOVE_MIDDLE))) +
           fmax(-PATTERN_MOST, fmin(0, PATTERN_SLOPE * (odd - ODD_MIDDLE)));
}

/* Evidence of one gear at a factor. An engine is heard with all its pattern or, on a stand, not at all. */
static double evidence(const bench *b, const lay_track_gear *gear, double factor, int *matched) {
    tally with = {.matched = 0}, without = {.matched = 0};
    double engine = add_orders(b, gear, true, factor, &with) + engine_pattern(b, gear, factor);
    double running = engine + add_orders(b, gear, false, factor, &with) + explained(b, &with);
    double silent = ENGINE_SILENT + add_orders(b, gear, false, factor, &without) + explained(b, &without);
    *matched = running > silent ? with.matched : without.matched;
    return b->options->firing_order > 0 ? fmax(running, silent) : silent - ENGINE_SILENT;
}

/* Somebody who states a speed is right nearly always; when not, anything usual is possible. */
static double prior(const lay_track_options *o, double low_hz, double mean_hz, double high_hz) {
    double usual = log(mean_hz / USUAL_HZ) / USUAL_SPREAD, off = usual;
    if (o->stated_hz > 0) off = log(mean_hz / o->stated_hz) / o->stated_sd;
    if (!(o->near_low_hz > 0)) return -0.5 * off * off;
    bool inside = low_hz > o->near_low_hz * NEAR_SLACK && high_hz < o->near_high_hz / NEAR_SLACK;
    double as_stated = inside ? (o->stated_hz > 0 ? -0.5 * off * off : 0) : -1e9;
    return fmax(as_stated, STATED_WRONG - 0.5 * usual * usual);
}

static void offer(lay_scale *s, const lay_answer *a) {
    for (size_t i = 0; i < s->count; i++) {
        lay_answer *old = &s->answers[i];
        if (old->gear != a->gear || fabs(log(old->factor / a->factor)) > SAME_SPEED) continue;
        if (a->evidence > old->evidence) *old = *a;
        return;
    }
    if (s->count < LAY_SCALE_ANSWERS) {
        s->answers[s->count++] = *a;
        return;
    }
    size_t worst = 0;
    for (size_t i = 1; i < s->count; i++)
        if (s->answers[i].evidence < s->answers[worst].evidence) worst = i;
    if (a->evidence > s->answers[worst].evidence) s->answers[worst] = *a;
}

static int by_evidence(const void *a, const void *b) {
    double x = ((const lay_answer *)a)->evidence, y = ((const lay_answer *)b)->evidence;
    return (x < y) - (x > y);
}

/* The factor that lays the matched orders best onto their peaks. */
static void sharpen(const bench *b, const lay_track_gear *gear, lay_answer *a) {
    double sum = 0, weight = 0;
    for (size_t i = 0; i < gear->count; i++) {
        size_t k = peak_at(b, gear->orders[i].order * a->factor);
        if (k >= MOST_PEAKS) continue;
        double w = gear->orders[i].heard * b->peaks[k].at.order * b->peaks[k].at.order * fmin(b->peaks[k].at.nats, 200);
        sum += w * b->peaks[k].at.order / gear->orders[i].order;
        weight += w;
    }
    if (weight > 0 && fabs(log(sum / weight / a->factor)) < SAME_SPEED) a->factor = sum / weight;
}

static void weigh(lay_scale *s, const bench *b) {
    qsort(s->answers, s->count, sizeof *s->answers, by_evidence);
    double sum = s->count > 0 ? exp((s->none - s->answers[0].evidence) / LAY_SCALE_TEMPERATURE) : 0;
    for (size_t i = 0; i < s->count; i++) {
        lay_answer *a = &s->answers[i];
        sum += a->probability = exp((a->evidence - s->answers[0].evidence) / LAY_SCALE_TEMPERATURE);
        sharpen(b, &b->options->gears[a->gear], a);
    }
    for (size_t i = 0; i < s->count; i++) s->answers[i].probability /= sum;
}

/* ---- the search ---- */

/* The answer must lay one of the likelier orders onto one of the clearer peaks: mark[steps] of the factors that do, to
 * within what a peak's place leaves open at the highest orders. */
static void mark_factors(const bench *b, const lay_track_gear *gear, double from, size_t steps, bool *mark) {
    size_t peaks = b->peak_count < LEADING_PEAKS ? b->peak_count : LEADING_PEAKS;
    memset(mark, 0, steps * sizeof *mark);
    for (size_t i = 0; i < gear->count; i++) {
        if (gear->orders[i].heard < (gear->orders[i].engine ? LEADING_ENGINE : LEADING_OTHER)) continue;
        for (size_t k = 0; k < peaks; k++) {
            double at = (log(b->peaks[k].at.order / gear->orders[i].order) - from) / FACTOR_STEP;
            double reach = ceil(PLACE_BINS * b->bin / b->peaks[k].at.order / FACTOR_STEP) + 1;
            for (double s = fmax(0, ceil(at - reach)); s <= at + reach && s < (double)steps; s++)
                mark[(size_t)s] = true;
        }
    }
}

static void search(const bench *b, double low_hz, double mean_hz, double high_hz, double from, size_t steps, bool *mark,
                   lay_scale *out) {
    const lay_track_options *o = b->options;
    for (size_t g = 0; g < o->gear_count; g++) {
        mark_factors(b, &o->gears[g], from, steps, mark);
        for (size_t s = 0; s < steps; s++) {
            if (!mark[s]) continue;
            lay_answer a = {.factor = exp(from + (double)s * FACTOR_STEP), .gear = g};
            a.evidence = evidence(b, &o->gears[g], a.factor, &a.matched) +
                         prior(o, low_hz * a.factor, mean_hz * a.factor, high_hz * a.factor) + log(o->gears[g].prior);
            offer(out, &a);
        }
    }
}

/* Chance finds the better an answer the more is searched: all of it, or what somebody left open. */
static double searched(const lay_track_options *o, double mean_hz, double from, double to, const lay_scale *s) {
    const lay_answer *best = &s->answers[0];
    for (size_t i = 1; i < s->count; i++)
        if (s->answers[i].evidence > best->evidence) best = &s->answers[i];
    double hz = s->count > 0 ? mean_hz * best->factor : 0;
    bool as_said = o->near_low_hz > 0 && hz > o->near_low_hz && hz < o->near_high_hz;
    return as_said ? fmin(to - from, log(o->near_high_hz / o->near_low_hz)) : to - from;
}

static lay_status search_all(bench *b, double low_hz, double mean_hz, double high_hz, lay_scale *out, lay_error *err) {
    double from = log(b->options->low_hz / low_hz), to = log(b->options->high_hz / high_hz);
    size_t steps = (size_t)((to - from) / FACTOR_STEP) + 1;
    bool *mark = lay_calloc(steps, sizeof *mark);
    b->nearest = lay_calloc(b->profile->count, sizeof *b->nearest);
    b->height = lay_calloc(b->profile->count, sizeof *b->height);
    lay_status status = LAY_OK;
    if (!mark || !b->nearest || !b->height) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    fill_heights(b);
    judge_peaks(b);
    fill_missed(b);
    search(b, low_hz, mean_hz, high_hz, from, steps, mark, out);
    out->none = LAY_SCALE_NONE + log(fmax(searched(b->options, mean_hz, from, to, out), 0.05) / WHOLE_SPAN);
    weigh(out, b);
done:
    free(mark);
    free(b->nearest);
    free(b->height);
    return status;
}

lay_status lay_scale_find(const lay_profile *profile, double bin_hz, const lay_track_options *options, double low_hz,
                          double mean_hz, double high_hz, lay_scale *out, lay_error *err) {
    bench b = {.profile = profile, .options = options, .bin = bin_hz / mean_hz, .bin_hz = bin_hz};
    *out = (lay_scale){0};
    if (profile->count < 4 * LAY_PEAK_APART || options->high_hz * low_hz < options->low_hz * high_hz) return LAY_OK;
    lay_status status = find_peaks(&b, err);
    return status == LAY_OK && b.peak_count > 0 ? search_all(&b, low_hz, mean_hz, high_hz, out, err) : status;
}
