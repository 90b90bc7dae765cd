#include "peaks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_BIN 4 /* below, orders cannot be told from rumble */

static int by_nats(const void *a, const void *b) {
    double x = ((const lay_peak *)a)->nats, y = ((const lay_peak *)b)->nats;
    return (x < y) - (x > y);
}

static bool is_peak(const lay_profile *p, size_t i) {
    for (size_t k = 1; k <= LAY_PEAK_APART; k++)
        if (p->mean[i - k] >= p->mean[i] || p->mean[i + k] > p->mean[i]) return false;
    return true;
}

double lay_peak_place(const lay_profile *p, size_t i) {
    double left = (double)p->mean[i - 1], top = (double)p->mean[i], right = (double)p->mean[i + 1];
    double bend = left - 2 * top + right;
    return (double)i + (bend < 0 ? 0.5 * (left - right) / bend : 0);
}

/* A mean of n exponential ratios being m times the noise, against noise: n (m - 1 - ln m). */
static double nats_of(double mean, double n) {
    return mean > 1 ? n * (mean - 1 - log(mean)) : 0;
}

lay_status lay_peaks_find(const lay_profile *p, double least_nats, size_t most, lay_peak *out, size_t *count,
                          lay_error *err) {
    size_t found = 0;
    lay_peak *all = lay_calloc(p->count + 1, sizeof *all);
    *count = 0;
    if (!all) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t i = LEAST_BIN * LAY_PEAK_BIN_POINTS + LAY_PEAK_APART; i + LAY_PEAK_APART < p->count; i++) {
        double mean = (double)p->mean[i], nats = nats_of(mean, 0.5 * (double)p->frames[i]); /* half overlapped */
        if (nats < least_nats || !is_peak(p, i)) continue;
        all[found++] = (lay_peak){lay_peak_place(p, i) * p->step, nats, log(mean)};
    }
    qsort(all, found, sizeof *all, by_nats);
    *count = found < most ? found : most;
    memcpy(out, all, *count * sizeof *out);
    free(all);
    return LAY_OK;
}
