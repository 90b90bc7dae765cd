#include "pulses.h"

#include "choose.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void lay_pulses_free(lay_pulses *p) {
    free(p->items);
    *p = (lay_pulses){0};
}

static lay_status put(lay_pulses *p, double time, int64_t step, bool broken, lay_error *err) {
    lay_status status = lay_grow((void **)&p->items, &p->capacity, p->count, sizeof *p->items, err);
    if (status != LAY_OK) return status;
    p->last_number += step;
    p->last_period = broken || p->seen == 0 ? 0 : (time - p->last_time) / (double)step;
    p->last_time = time;
    p->seen++;
    uint16_t lost = (uint16_t)(step > 1 ? step - 1 : 0), doubled = (uint16_t)(p->skipped < 1000 ? p->skipped : 1000);
    p->items[p->count++] = (lay_pulse){time, (double)p->last_number, lost, doubled, broken};
    p->skipped = 0;
    return LAY_OK;
}

static lay_status put_chosen(lay_pulses *p, double time, int steps, lay_error *err) {
    bool fresh = steps == LAY_CHOSEN_FRESH;
    if (steps == 0) {
        p->skipped++;
        return LAY_OK;
    }
    return put(p, time, fresh ? p->seen > 0 : steps, fresh && p->seen > 0, err);
}

lay_status lay_pulses_add(lay_pulses *p, const double *edges, size_t count, size_t from, size_t to, lay_error *err) {
    bool known = p->last_period > 0;
    size_t n = count - from + known;
    double *t = lay_calloc(n + 1, sizeof *t);
    uint8_t *steps = lay_calloc(n + 1, sizeof *steps);
    lay_status status = t && steps ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the tach pulses");
    if (status == LAY_OK) {
        t[0] = p->last_time;
        memcpy(t + known, edges + from, (count - from) * sizeof *t);
        status = lay_choose_pulses(t, n, p->last_period, steps, err);
    }
    for (size_t i = from; i < to && status == LAY_OK; i++)
        status = put_chosen(p, edges[i], steps[i - from + known], err);
    free(t);
    free(steps);
    return status;
}

void lay_pulses_excuse_gaps(lay_pulses *p, double pulses_per_rev) {
    double turns = (double)(p->kept + p->missing) / pulses_per_rev;
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
