/* Where a shaft stands still, noise makes edges as well. Their periods jump about, while a shaft has inertia: even an
 * engine that doubles its speed within 0.4 s, the quickest there is (common practice, no source), changes the pace of
 * that change by few hundredths from one turn to the next. What jumps more is left out, and a gap stays. */
#include "pulses.h"

#include <math.h>
#include <stdlib.h>

#define REACH 16          /* pulses either side that are judged together */
#define MOST_UNEVEN 1.5   /* one wrong pulse shall not condemn its neighbours */
#define MENDED 0.15       /* added where pulses are missing or extra, as they are everywhere in noise */
#define NO_SHAFT 0.25     /* mean unevenness: noise has 0.2 and more, slots of a pickup below 0.05 */
#define DOUBTFUL 0.30     /* of a single pulse */
#define BESIDE_NOISE 0.06 /* of the outermost pulses of a run, */
#define BESIDE_STOP 0.5
#define FEW_SLOTS 12 /* may be placed by hand: their periods are compared a whole turn apart */

static double period_at(const lay_pulse *p) {
    return (p[0].time - p[-1].time) / (p[0].number - p[-1].number);
}

/* How far the period departs from the mean of those `apart` pulses before and after; 0 where these are missing. */
static double unevenness(const lay_pulse *items, size_t count, size_t i, size_t apart) {
    if (i < apart + 1 || i + apart >= count) return 0;
    double before = period_at(&items[i - apart]), here = period_at(&items[i]), after = period_at(&items[i + apart]);
    return fmin(MOST_UNEVEN, fabs(after - 2 * here + before) / fmin(here, fmin(before, after)));
}

static void rate_stretch(const lay_pulse *items, size_t count, size_t apart, double *uneven) {
    for (size_t i = 0; i < count; i++) {
        bool mended = i > 0 && items[i].lost + items[i].doubled > 0;
        uneven[i] = unevenness(items, count, i, apart) + (mended ? MENDED : 0);
    }
}

/* Mark what is no shaft by the running mean. */
static void mark_stretch(const double *uneven, size_t count, bool *bad) {
    double sum = 0;
    for (size_t i = 0; i < count && i < REACH; i++) sum += uneven[i];
    for (size_t i = 0; i < count; i++) {
        if (i + REACH < count) sum += uneven[i + REACH];
        if (i > REACH) sum -= uneven[i - REACH - 1];
        size_t low = i > REACH ? i - REACH : 0, high = i + REACH < count ? i + REACH : count - 1;
        bad[i] = sum > NO_SHAFT * (double)(high - low + 1);
    }
}

/* The mean does not tell the place where noise begins to a pulse: doubtful ones beside what was left out go as well. */
static void widen(const double *uneven, size_t count, bool *bad) {
    size_t last = 0; /* one behind the last bad pulse, 0 none */
    for (size_t i = 0; i < count; i++) {
        if (last && !bad[i] && i < last + 2 * REACH && uneven[i] > DOUBTFUL)
            for (size_t k = last; k <= i; k++) bad[k] = true;
        if (bad[i]) last = i + 1;
    }
    last = count + 1; /* the same backwards: the first bad pulse behind */
    for (size_t i = count; i-- > 0;) {
        if (last <= count && !bad[i] && i + 2 * REACH > last && uneven[i] > DOUBTFUL)
            for (size_t k = i; k < last; k++) bad[k] = true;
        if (bad[i]) last = i;
    }
}

/* Does the outermost interval of a run fit to those one and two turns (or pulses) further in? `in`: +1 or -1. */
static bool is_wild(const lay_pulse *items, size_t first, size_t end, int in, size_t apart, double limit) {
    const lay_pulse *p = in > 0 ? &items[first + 1] : &items[end - 1];
    if (p->lost > 0 || p->doubled > 0) return isfinite(limit);
    ptrdiff_t step = in * (ptrdiff_t)(2 * apart + 1 < end - first - 1 ? apart : 1);
    double outer = period_at(p), next = period_at(p + step), third = period_at(p + 2 * step);
    return fabs(outer - 2 * next + third) > limit * fmin(outer, next);
}

/* Beside a standstill the period may double from pulse to pulse, and the last edge may be one of noise: then a slow
 * pulse cannot be told from a missing one. */
static void trim(const lay_pulse *items, size_t first, size_t end, const double limit[2], size_t apart, bool *bad) {
    if (limit[0] <= BESIDE_NOISE) bad[first++] = true; /* may be noise that fits by chance */
    if (limit[1] <= BESIDE_NOISE && end > first) bad[--end] = true;
    for (; end > first + 4 && is_wild(items, first, end, 1, apart, limit[0]); first++) bad[first] = true;
    for (; end > first + 4 && is_wild(items, first, end, -1, apart, limit[1]); end--) bad[end - 1] = true;
}

/* Noise looks even for some milliseconds now and then. */
static void drop_short(const lay_pulse *items, size_t first, size_t end, bool whole, bool *bad) {
    size_t low = first, high = end;
    while (low < end && bad[low]) low++;
    while (high > low && bad[high - 1]) high--;
    bool tiny = high - low < LAY_PULSES_LEAST || items[high - 1].time - items[low].time < LAY_PULSES_LEAST_S;
    for (size_t i = low; whole && tiny && i < high; i++) bad[i] = true;
}

/* Trim every run of good pulses where it begins or ends. What a chunk cuts goes on in the next one. */
static void trim_runs(const lay_pulse *items, size_t count, const bool ends[2], size_t apart, bool *bad) {
    for (size_t first = 0, end; first < count; first = end) {
        end = first + 1;
        if (bad[first]) continue;
        while (end < count && !bad[end] && !items[end].broken) end++;
        const bool open[2] = {first > 0 || ends[0], end < count || ends[1]};
        const double limit[2] = {first > 0 && bad[first - 1] ? BESIDE_NOISE
                                 : open[0]                   ? BESIDE_STOP
                                                             : INFINITY,
                                 end < count && bad[end] ? BESIDE_NOISE
                                 : open[1]               ? BESIDE_STOP
                                                         : INFINITY};
        trim(items, first, end, limit, apart, bad);
        drop_short(items, first, end, open[0] && open[1], bad);
    }
}

static void keep_good(lay_pulses *p, size_t first, const double *uneven, const bool *bad) {
    size_t out = first;
    bool gap = p->gap;
    double before = 0;
    for (size_t i = first; i < p->count; i++) {
        lay_pulse *item = &p->items[i];
        if (bad[i - first]) {
            if (i > first && !item->broken) p->condemned_s += item->time - before;
            before = item->time;
            gap = true;
            continue;
        }
        before = item->time;
        p->missing += gap ? 0 : item->lost;
        p->single_gaps += !gap && item->lost > 0 && item->lost < 3;
        p->extra += gap ? 0 : item->doubled;
        p->doubtful += uneven[i - first] > DOUBTFUL;
        p->kept++;
        item->broken |= gap;
        gap = false;
        p->items[out++] = *item;
    }
    p->gap = gap;
    p->count = out;
}

lay_status lay_pulses_screen(lay_pulses *p, double pulses_per_rev, bool last, lay_error *err) {
    size_t first = p->finished, n = p->count - first;
    double slots = round(pulses_per_rev);
    size_t apart = slots >= 2 && slots <= FEW_SLOTS ? (size_t)slots : 1;
    double *uneven = lay_calloc(n + 1, sizeof *uneven);
    bool *bad = lay_calloc(n + 1, sizeof *bad);
    lay_status status = uneven && bad ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the tach pulses");
    for (size_t i = 0; i < n && status == LAY_OK;) {
        size_t end = i + 1;
        while (end < n && !p->items[first + end].broken) end++;
        rate_stretch(p->items + first + i, end - i, apart, uneven + i);
        mark_stretch(uneven + i, end - i, bad + i);
        widen(uneven + i, end - i, bad + i);
        i = end;
    }
    const bool ends[2] = {p->gap || p->kept == 0 || (n > 0 && p->items[first].broken), last};
    if (status == LAY_OK) trim_runs(p->items + first, n, ends, apart, bad);
    if (status == LAY_OK) keep_good(p, first, uneven, bad);
    free(uneven);
    free(bad);
    return status;
}
