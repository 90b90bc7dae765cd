#include "phase_fit.h"

#include "smooth.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LOCAL_S 1.0     /* over which the halves' disagreement is averaged, either way */
#define LEAST_SHARE 0.1 /* of the weight that a half must hold to have a say */
#define ALONE 4.0 /* without a second opinion: phases of one line follow resonances (measured on simulated runs) */
#define EDGE 9.0
#define BIAS 2.0 /* cross-validation leaves about as much bias as variance */

static double mean_of(const double *x, size_t n) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) sum += x[i];
    return n > 0 ? sum / (double)n : 0;
}

/* Effective number of free values of the smoother with mean weight `w` on n points: the sum of its frequency response.
 */
static double freedom(size_t n, double lambda, double w) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double c = 2 - 2 * cos(LAY_PI * (double)i / (double)n);
        sum += 1 / (1 + lambda / w * c * c);
    }
    return sum;
}

/* Generalised cross-validation (Craven and Wahba, Numer. Math. 31 (1979) 377; value from memory of that work) chooses
 * how smooth. *scale receives lambda over the mean weight, *left the free values per point. */
static lay_status smooth(const lay_phase_says *says, size_t n, double *z, double *scale, double *left, lay_error *err) {
    double mean = mean_of(says->weight, n), best = 1e300;
    double *trial = lay_calloc(n, sizeof *trial);
    if (!trial) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = LAY_OK;
    for (double s = 1; s < 3e7 && status == LAY_OK; s *= 4) {
        double residual = 0;
        status = lay_smooth(says->value, says->weight, n, 2, s * mean, trial, err);
        if (status != LAY_OK) break;
        for (size_t m = 0; m < n; m++)
            residual += says->weight[m] * (says->value[m] - trial[m]) * (says->value[m] - trial[m]);
        double free_values = freedom(n, s * mean, mean), rest = 1 - free_values / (double)n;
        if (residual / (rest * rest) >= best) continue;
        best = residual / (rest * rest);
        *scale = s;
        *left = free_values / (double)n;
        memcpy(z, trial, n * sizeof *z);
    }
    free(trial);
    return status;
}

/* The squared disagreement of the halves, each smoothed like the whole, into gap[n]. */
static lay_status disagreement(const lay_phase_says half[2], size_t n, double scale, double *gap, lay_error *err) {
    double *z = lay_calloc(n, sizeof *z);
    if (!z) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = LAY_OK;
    for (int h = 0; h < 2 && status == LAY_OK; h++) {
        double lambda = scale * mean_of(half[h].weight, n);
        status = lay_smooth(half[h].value, half[h].weight, n, 2, lambda, z, err);
        for (size_t m = 0; m < n; m++) gap[m] = h == 0 ? z[m] : (gap[m] - z[m]) * (gap[m] - z[m]);
    }
    free(z);
    return status;
}

static double local_mean(const double *x, size_t n, size_t at, size_t reach) {
    size_t from = at > reach ? at - reach : 0, to = at + reach < n ? at + reach : n - 1;
    return mean_of(x + from, to - from + 1);
}

/* A straight line through points is four times as uncertain (variance) at its ends as in the middle, and ends bend
 * unseen: nine times, falling to one over what the smoother spans. */
static double edge(size_t m, size_t n, double left) {
    double away = (double)(m < n - 1 - m ? m : n - 1 - m) * left, u = fmax(0, 1 - away);
    return 1 + (EDGE - 1) * u * u;
}

lay_status lay_phase_fit(const lay_phase_says *all, const lay_phase_says half[2], size_t n, double dt, double *z,
                         double *sd, lay_error *err) {
    double scale = 1, left = 1, mean = mean_of(all->weight, n);
    bool two = fmin(mean_of(half[0].weight, n), mean_of(half[1].weight, n)) > LEAST_SHARE * mean;
    double *gap = lay_calloc(n, sizeof *gap);
    if (!gap) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_status status = smooth(all, n, z, &scale, &left, err);
    if (status == LAY_OK && two) status = disagreement(half, n, scale, gap, err);
    size_t reach = (size_t)(LOCAL_S / dt + 0.5);
    for (size_t m = 0; m < n && status == LAY_OK; m++) {
        double noise = left / fmax(all->weight[m], 0.05 * mean);
        sd[m] =
            sqrt(edge(m, n, left) * BIAS * (two ? noise + 0.25 * local_mean(gap, n, m, reach) : ALONE * ALONE * noise));
    }
    free(gap);
    return status;
}
