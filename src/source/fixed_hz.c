#include "fixed_hz.h"

#include <math.h>
#include <stdlib.h>

/* A tone of the transmission moves with speed. In a run whose speed is spread evenly over more than 15 % no line of it
 * can stay within two bins of a spectrum in Hz, so a narrow peak there belongs to the mains or to an inverter. In a
 * steady run only whole multiples of the mains frequency can be told, and only as a family of three or more. */

#define FIXED_MAX 64

static lay_status hz_floor(const lay_order_spectrum *s, double **out, lay_error *err) {
    *out = lay_calloc(s->hz_bins + 1, sizeof **out);
    if (!*out) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the spectrum");
    size_t width = (size_t)(60 / s->hz_step) | 1;
    if (width < 31) width = 31;
    return lay_floor_estimate(s->hz_power, s->hz_bins, width, s->hz_averages, *out, err);
}

static bool is_peak(const double *p, size_t i) {
    return p[i] >= p[i - 1] && p[i] > p[i + 1] && p[i] > 4 * p[i - 3] && p[i] > 4 * p[i + 3];
}

static bool spread_evenly(const lay_run_evidence *run) {
    const lay_order_spectrum *s = &run->spectrum;
    if (run->max_hz - run->min_hz < 0.15 * run->mean_hz || s->classes < 4) return false;
    double most = 0, total = 0;
    for (size_t c = 0; c < s->classes; c++) {
        most = fmax(most, s->class_segments[c]);
        total += s->class_segments[c];
    }
    return total > 0 && most < 0.3 * total;
}

static void keep(lay_run_evidence *run, double hz) {
    if (run->fixed_hz_count < FIXED_MAX) run->fixed_hz[run->fixed_hz_count++] = hz;
}

static void find_swept(lay_run_evidence *run, const double *floor) {
    const lay_order_spectrum *s = &run->spectrum;
    double dof = 2 * s->hz_averages;
    double least = lay_chi2_threshold(1e-4 / (double)s->hz_bins, dof) / dof;
    size_t first = (size_t)(45 / s->hz_step) + 4;
    for (size_t i = first; i + 4 < s->hz_bins; i++) {
        double hz = (double)i * s->hz_step;
        double moved =
            hz * (run->max_hz - run->min_hz) / run->mean_hz / s->hz_step; /* bins a line of an order would move */
        if (moved > 12 && floor[i] > 0 && s->hz_power[i] > fmax(least, 10) * floor[i] && is_peak(s->hz_power, i))
            keep(run, hz);
    }
}

static bool mains_peak(const lay_order_spectrum *s, const double *floor, double hz) {
    size_t i = (size_t)lround(hz / s->hz_step);
    if (i < 4 || i + 4 >= s->hz_bins) return false;
    size_t top = i;
    for (size_t j = i - 1; j <= i + 1; j++)
        if (s->hz_power[j] > s->hz_power[top]) top = j;
    return floor[top] > 0 && s->hz_power[top] > 8 * floor[top];
}

/* The mains base with more of its first 8 harmonics present; at least three, and two thirds of the first three. */
static void find_mains(lay_run_evidence *run, const double *floor) {
    const lay_order_spectrum *s = &run->spectrum;
    const double bases[2] = {50, 60};
    for (int b = 0; b < 2; b++) {
        bool present[9] = {false};
        int low = 0, all = 0;
        for (int k = 1; k <= 8; k++) {
            present[k] = mains_peak(s, floor, k * bases[b]);
            all += present[k];
            low += present[k] && k <= 3;
        }
        if (all < 3 || low < 2) continue;
        bool by_speed = fabs(bases[b] / run->mean_hz - round(2 * bases[b] / run->mean_hz) / 2) < 0.02;
        if (by_speed) continue; /* the shaft's own multiples cannot be told from mains here */
        for (int k = 1; k <= 8; k++)
            if (present[k]) keep(run, k * bases[b]);
    }
}

static void describe(lay_run_evidence *run) {
    if (run->fixed_hz_count == 0) return;
    lay_text_add(&run->warnings, "tones fixed in Hz, not from any shaft (mains hum or an inverter):");
    for (size_t i = 0; i < run->fixed_hz_count && i < 6; i++)
        lay_text_add(&run->warnings, "%s %.0f Hz", i ? "," : "", run->fixed_hz[i]);
    lay_text_add(&run->warnings, "%s\n", run->fixed_hz_count > 6 ? " and more" : "");
}

lay_status lay_fixed_hz_find(lay_run_evidence *run, lay_error *err) {
    double *floor = NULL;
    lay_status status = LAY_OK;
    if (run->spectrum.hz_bins < 64) return LAY_OK;
    run->fixed_hz = lay_calloc(FIXED_MAX, sizeof *run->fixed_hz);
    if (!run->fixed_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the spectrum");
    status = hz_floor(&run->spectrum, &floor, err);
    if (status == LAY_OK) {
        find_mains(run, floor);
        if (spread_evenly(run)) find_swept(run, floor);
        describe(run);
    }
    free(floor);
    return status;
}
