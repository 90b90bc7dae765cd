#include <layshaft/order.h>

#include <stdlib.h>
#include <string.h>

/* A low quantile is blind to lines that fill less than half of its width; the chi-square law of the averaged
 * periodogram turns it into the mean (Welch 1967; dof = 2 x averages). Bins that stand out against the first estimate
 * are replaced before the second by values spread as noise is, so that dense families (half engine orders) do not lift
 * it: a constant in their place would lie above the quantile and do so. */

#define FIRST_QUANTILE 0.3
#define SECOND_QUANTILE 0.45
#define STEPS 64 /* of the noise law, for what stands in for a line */

static double to_mean(double quantile, double averages) {
    double dof = 2 * (averages > 1 ? averages : 1);
    return dof / lay_chi2_threshold(1 - quantile, dof);
}

lay_status lay_floor_estimate(const double *power, size_t bins, size_t width, double averages, double *floor,
                              lay_error *err) {
    double dof = 2 * (averages > 1 ? averages : 1), noise[STEPS];
    double outlier = lay_chi2_threshold(0.02, dof) / dof;
    for (size_t k = 0; k < STEPS; k++) noise[k] = lay_chi2_threshold(((double)k + 0.5) / STEPS, dof) / dof;
    double *level = lay_calloc(bins + 1, sizeof *level);
    if (!level) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the floor");
    lay_status status = lay_running_quantile(power, bins, width, FIRST_QUANTILE, floor, err);
    double first = to_mean(FIRST_QUANTILE, averages), second = to_mean(SECOND_QUANTILE, averages);
    size_t turn = 0;
    for (size_t i = 0; i < bins && status == LAY_OK; i++) {
        double mean = floor[i] * first;
        level[i] = power[i];
        if (power[i] <= outlier * mean) continue;
        level[i] = mean * noise[turn];
        turn =
            (turn + 39) % STEPS; /* 39 / 64: near the golden section, neighbours differ, all steps come equally often */
    }
    if (status == LAY_OK) status = lay_running_quantile(level, bins, width, SECOND_QUANTILE, floor, err);
    for (size_t i = 0; i < bins; i++) floor[i] *= second;
    free(level);
    return status;
}
