#include "pulses.h"

#include <math.h>
#include <stdlib.h>

#define SHORT 0.62       /* of the period: shorter intervals are double pulses */
#define STOP_PERIODS 6.0 /* and STOP_S: longer intervals are stops */
#define STOP_S 0.5
#define MOST_MISSING 60.0

void lay_pulses_free(lay_pulses *p) {
    free(p->items);
    *p = (lay_pulses){0};
}

static double local_period(const double *edges, size_t count, size_t i) {
    double near[2 * LAY_PULSES_NEAR + 1];
    size_t n = 0, first = i > LAY_PULSES_NEAR ? i - LAY_PULSES_NEAR : 1;
    size_t last = i + LAY_PULSES_NEAR < count ? i + LAY_PULSES_NEAR : count - 1;
    for (size_t k = first; k <= last; k++) near[n++] = edges[k] - edges[k - 1];
    return lay_median(near, n);
}

static lay_status put(lay_pulses *p, double time, int64_t step, bool broken, lay_error *err) {
    lay_status status = lay_grow((void **)&p->items, &p->capacity, p->count, sizeof *p->items, err);
    if (status != LAY_OK) return status;
    p->last_number += step;
    p->last_time = time;
    p->items[p->count++] = (lay_pulse){time, (double)p->last_number, broken};
    return LAY_OK;
}

lay_status lay_pulses_add(lay_pulses *p, const double *edges, size_t count, size_t from, size_t to, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = from; i < to && status == LAY_OK; i++) {
        if (p->count == 0) {
            status = put(p, edges[i], 0, false, err);
            continue;
        }
        double period = local_period(edges, count, i), interval = edges[i] - p->last_time;
        double steps = interval / period, whole = round(steps);
        if (steps < SHORT) {
            p->extra++;
        } else if (interval > fmax(STOP_S, STOP_PERIODS * period) || whole > MOST_MISSING) {
            status = put(p, edges[i], 1, true, err);
        } else if (whole < 1.5) {
            status = put(p, edges[i], 1, false, err);
        } else {
            status = put(p, edges[i], (int64_t)whole, false, err);
            p->missing += (int)whole - 1;
            p->single_gaps += whole < 3.5;
        }
    }
    return status;
}

void lay_pulses_excuse_gaps(lay_pulses *p, double pulses_per_rev) {
    double turns = (double)p->last_number / pulses_per_rev;
    if (pulses_per_rev < 12 || turns <= 4 || p->single_gaps < 4) return;
    double teeth = round((double)p->missing / p->single_gaps); /* in one gap */
    if (fabs(p->single_gaps / turns - 1) > 0.1 || teeth > 2) return;
    p->missing -= (int)(teeth * p->single_gaps);
    if (p->missing < 0) p->missing = 0;
}

bool lay_quadratic_fit(const double *t, const double *n, size_t count, double origin, double b[3]) {
    double width = 0, s[5] = {0}, r[3] = {0};
    for (size_t i = 0; i < count; i++) width = fmax(width, fabs(t[i] - origin));
    if (count < 3 || !(width > 0)) return false;
    for (size_t i = 0; i < count; i++) {
        double u = (t[i] - origin) / width, power = 1; /* scaled for condition */
        for (int k = 0; k < 5; k++, power *= u) {
            s[k] += power;
            if (k < 3) r[k] += power * n[i];
        }
    }
    double a[9] = {s[0], s[1], s[2], s[1], s[2], s[3], s[2], s[3], s[4]};
    if (!lay_solve(a, r, 3)) return false;
    b[0] = r[0];
    b[1] = r[1] / width;
    b[2] = r[2] / (width * width);
    return true;
}
