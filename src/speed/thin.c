/* What repeats every turn of the wheel taken out, and quick pulses replaced by means of neighbours. */
#include "pulses.h"

#include <math.h>
#include <stdlib.h>

#define MOST_SLOTS 3600
#define LEAST_TURNS 8 /* for a pattern to be told from chance */
#define MOST_PER_SECOND 240.0

/* ---- levelling ---- */

/* Times of every pulse number of a stretch without a break; missing ones lie evenly between their neighbours. */
static void fill_times(const lay_pulse *items, size_t count, double *times) {
    size_t at = 0;
    times[at++] = items[0].time;
    for (size_t i = 1; i < count; i++) {
        size_t steps = (size_t)lround(items[i].number - items[i - 1].number);
        for (size_t k = 1; k <= steps; k++)
            times[at++] = items[i - 1].time + (items[i].time - items[i - 1].time) * (double)k / (double)steps;
    }
}

/* Mean departure of each slot, in pulses. The mean of the times over just one turn about a pulse is free of whatever
 * repeats every turn; its curvature shifts all slots alike and is taken off at the end. */
static void find_pattern(const double *times, size_t count, size_t slots, size_t first_slot, double *sum,
                         double *hits) {
    size_t half = slots / 2;
    double ends = slots % 2 ? 1.0 : 0.5, window = 0; /* an even number of slots: half weight for both ends */
    for (size_t k = 0; k <= 2 * half; k++) window += (k == 0 || k == 2 * half ? ends : 1) * (times[k] - times[0]);
    double origin = times[0];
    for (size_t i = half; i + half < count; i++) {
        double turn = (times[i + half] - times[i - half]) * (double)slots / (double)(2 * half);
        double late = times[i] - origin - window / (double)slots;
        size_t slot = (first_slot + i) % slots;
        sum[slot] += late / turn * (double)slots; /* a late pulse stands at a larger angle */
        hits[slot] += 1;
        if (i + half + 1 < count) {
            size_t left = i - half, right = i + half;
            window += (1 - ends) * (times[right] - origin) + ends * (times[right + 1] - origin);
            window -= ends * (times[left] - origin) + (1 - ends) * (times[left + 1] - origin);
        }
    }
}

static void level_mean(double *pattern, const double *hits, size_t slots) {
    double mean = 0;
    for (size_t k = 0; k < slots; k++) {
        pattern[k] = hits[k] > 0 ? pattern[k] / hits[k] : 0;
        mean += pattern[k] / (double)slots;
    }
    for (size_t k = 0; k < slots; k++) pattern[k] -= mean;
}

static void level_stretch(lay_pulse *items, size_t count, size_t slots) {
    size_t span = (size_t)lround(items[count - 1].number - items[0].number) + 1;
    if (span < LEAST_TURNS * slots) return;
    double *times = lay_calloc(span, sizeof *times), *pattern = lay_calloc(2 * slots, sizeof *pattern);
    if (times && pattern) { /* without memory only an improvement is lost */
        size_t first_slot = (size_t)items[0].number % slots;
        fill_times(items, count, times);
        find_pattern(times, span, slots, first_slot, pattern, pattern + slots);
        level_mean(pattern, pattern + slots, slots);
        for (size_t i = 0; i < count; i++) items[i].number += pattern[(size_t)lround(items[i].number) % slots];
    }
    free(times);
    free(pattern);
}

/* ---- thinning ---- */

/* Means over equal groups of a stretch without a break; returns how many pulses are left. */
static size_t group(const lay_pulse *items, size_t count, lay_pulse *out) {
    double seconds = items[count - 1].time - items[0].time;
    double wanted = fmax(1, seconds * MOST_PER_SECOND);
    size_t groups = (double)count > 1.5 * wanted ? (size_t)wanted : count;
    for (size_t g = 0; g < groups; g++) {
        size_t first = g * count / groups, end = (g + 1) * count / groups;
        lay_pulse mean = {.broken = items[first].broken};
        for (size_t i = first; i < end; i++) {
            mean.time += (items[i].time - items[first].time) / (double)(end - first);
            mean.number += (items[i].number - items[first].number) / (double)(end - first);
        }
        mean.time += items[first].time;
        mean.number += items[first].number;
        out[g] = mean; /* g <= first: behind what is still read */
    }
    return groups;
}

lay_status lay_pulses_thin(lay_pulses *p, double pulses_per_rev, lay_error *err) {
    (void)err;
    double slots = round(pulses_per_rev);
    bool whole = fabs(pulses_per_rev - slots) < 1e-9 && slots >= 2 && slots <= MOST_SLOTS;
    size_t out = p->finished;
    for (size_t first = p->finished; first < p->count;) {
        size_t end = first + 1;
        while (end < p->count && !p->items[end].broken) end++;
        if (whole) level_stretch(p->items + first, end - first, (size_t)slots);
        out += group(p->items + first, end - first, p->items + out);
        first = end;
    }
    p->count = p->finished = out;
    return LAY_OK;
}
