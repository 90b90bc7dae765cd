/* Quantile over a window that slides: the window is kept sorted. */
#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct sorted_window {
    double *value;
    size_t count;
} sorted_window;

/* NaN has no place in an order; as a huge value it leaves the quantiles around it usable. */
static double ordered(double x) {
    return isnan(x) ? INFINITY : x;
}

/* First place whose value is not below `x`. */
static size_t place_of(const sorted_window *w, double x) {
    size_t low = 0, high = w->count;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (w->value[mid] < x)
            low = mid + 1;
        else
            high = mid;
    }
    return low;
}

static void insert(sorted_window *w, double x) {
    size_t at = place_of(w, x);
    memmove(w->value + at + 1, w->value + at, (w->count - at) * sizeof *w->value);
    w->value[at] = x;
    w->count++;
}

static void remove_value(sorted_window *w, double x) {
    size_t at = place_of(w, x);
    w->count--;
    memmove(w->value + at, w->value + at + 1, (w->count - at) * sizeof *w->value);
}

/* One move instead of two: only what lies between the old and the new place shifts. */
static void exchange(sorted_window *w, double old, double fresh) {
    size_t from = place_of(w, old), to = place_of(w, fresh);
    if (to > from) {
        to--;
        memmove(w->value + from, w->value + from + 1, (to - from) * sizeof *w->value);
    } else {
        memmove(w->value + to + 1, w->value + to, (from - to) * sizeof *w->value);
    }
    w->value[to] = fresh;
}

static double quantile_of(const sorted_window *w, double q) {
    double rank = q * (double)(w->count - 1);
    size_t k = (size_t)rank;
    double part = rank - (double)k, here = w->value[k];
    if (part == 0.0 || w->value[k + 1] == here) return here;
    return here + part * (w->value[k + 1] - here);
}

lay_status lay_running_quantile(const double *x, size_t n, size_t width, double q, double *out, lay_error *err) {
    if (isnan(q) || q < 0.0 || q > 1.0)
        return lay_fail(err, LAY_BAD_INPUT, "a quantile lies between 0 and 1, not at %g", q);
    if (n == 0) return LAY_OK;
    size_t half = width / 2 < n ? width / 2 : n - 1;
    size_t room = half < n / 2 ? 2 * half + 1 : n;
    sorted_window w = {.value = lay_calloc(room + 1, sizeof *w.value)};
    if (!w.value) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for a running quantile over %zu values", room);
    for (size_t i = 0; i < half; i++) insert(&w, ordered(x[i]));
    for (size_t i = 0; i < n; i++) {
        bool enters = half < n - i;
        bool leaves = i > half;
        if (enters && leaves)
            exchange(&w, ordered(x[i - half - 1]), ordered(x[i + half]));
        else if (enters)
            insert(&w, ordered(x[i + half]));
        else if (leaves)
            remove_value(&w, ordered(x[i - half - 1]));
        out[i] = quantile_of(&w, q);
    }
    free(w.value);
    return LAY_OK;
}
