#include "ridge.h"

#include <stdlib.h>

#define CLOSED 1e9f

typedef struct table {
    const float *score;
    size_t candidates, reach, clear;
    const size_t *avoid;
    float price; /* per candidate moved */
} table;

static float score_at(const table *t, size_t frame, size_t c) {
    float score = t->score[frame * t->candidates + c];
    if (!t->avoid) return score;
    size_t other = t->avoid[frame], away = c > other ? c - other : other - c;
    return away <= t->clear ? score - CLOSED : score;
}

/* Where a path that now stands at c best came from. */
static size_t best_before(const table *t, const float *total, size_t c, float *value) {
    size_t first = c > t->reach ? c - t->reach : 0, best = c;
    size_t last = c + t->reach < t->candidates ? c + t->reach : t->candidates - 1;
    *value = total[c];
    for (size_t k = first; k <= last; k++) {
        float candidate = total[k] - t->price * (float)(k > c ? k - c : c - k);
        if (candidate > *value) {
            *value = candidate;
            best = k;
        }
    }
    return best;
}

static void trace_back(const uint16_t *from, size_t frames, size_t candidates, const float *total, size_t *path) {
    size_t at = 0;
    for (size_t c = 1; c < candidates; c++)
        if (total[c] > total[at]) at = c;
    for (size_t f = frames; f-- > 0;) {
        path[f] = at;
        at = from[f * candidates + at];
    }
}

lay_status lay_ridge_find(const float *score, size_t frames, size_t candidates, size_t reach, double price,
                          const size_t *avoid, size_t clear, size_t *path, lay_error *err) {
    const table t = {score, candidates, reach, clear, avoid, (float)price};
    uint16_t *from = lay_calloc(frames * candidates, sizeof *from);
    float *total = lay_calloc(2 * candidates, sizeof *total);
    lay_status status = LAY_OK;
    if (!from || !total) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    float *now = total, *next = total + candidates;
    for (size_t c = 0; c < candidates; c++) now[c] = score_at(&t, 0, c);
    for (size_t f = 1; f < frames; f++) {
        for (size_t c = 0; c < candidates; c++) {
            float value;
            from[f * candidates + c] = (uint16_t)best_before(&t, now, c, &value);
            next[c] = value + score_at(&t, f, c);
        }
        float *swap = now;
        now = next;
        next = swap;
    }
    trace_back(from, frames, candidates, now, path);
done:
    free(from);
    free(total);
    return status;
}

double lay_ridge_sum(const float *score, size_t frames, size_t candidates, const size_t *path, size_t shift) {
    double sum = 0;
    for (size_t f = 0; f < frames; f++) sum += score[f * candidates + (path[f] + shift) % candidates];
    return sum;
}
