#include <layshaft/order.h>

#include <math.h>
#include <stdlib.h>

/* Level of a tone: the sum of its main lobe over the window's equivalent noise bandwidth, floor taken off. For a Hann
 * window that sum does not depend on where the tone falls between bins (its transform has constant energy on the bin
 * grid), so there is no scalloping to correct. Place: the ratio of the two largest bins of a Hann window gives the
 * offset (2 r - 1) / (r + 1) exactly (Grandke, IEEE TIM 32 (1983) 350; value from memory of that work). */

#define LOBE 2
#define MOST_SIGNIFICANT 300.0
#define NOTHING_DB (-40.0)

static double bin_power(const lay_order_spectrum *s, size_t i) {
    return fmax(0, s->power[i] - s->floor[i]);
}

static double offset_of(const lay_order_spectrum *s, size_t i) {
    double left = sqrt(bin_power(s, i - 1)), right = sqrt(bin_power(s, i + 1)), peak = sqrt(bin_power(s, i));
    if (peak <= 0) return 0;
    double r = fmax(left, right) / peak;
    double offset = fmax(0, fmin(0.5, (2 * r - 1) / (r + 1)));
    return right >= left ? offset : -offset;
}

/* Bins of the main lobe that fall towards both sides; a valley ends it. */
static double lobe_power(const lay_order_spectrum *s, size_t i) {
    double sum = s->power[i] - s->floor[i];
    for (int side = -1; side <= 1; side += 2) {
        double last = s->power[i];
        for (int d = 1; d <= LOBE; d++) {
            size_t j = side < 0 ? i - (size_t)d : i + (size_t)d;
            if (d > 1 && s->power[j] > last) break;
            sum += s->power[j] - s->floor[j];
            last = s->power[j];
        }
    }
    return fmax(0, sum / s->enbw);
}

static double mean_over(const double *x, size_t bins, double low, double high) {
    size_t first = (size_t)fmax(1, ceil(low)), last = (size_t)fmax(1, fmin(floor(high), (double)bins - 1));
    double sum = 0;
    if (last < first) return x[first < bins ? first : bins - 1];
    for (size_t i = first; i <= last; i++) sum += x[i];
    return sum / (double)(last - first + 1);
}

/* Mean square of everything between two frequencies. */
static double band_power(const lay_order_spectrum *s, double low_hz, double high_hz) {
    double bins_per_hz = 1 / (s->mean_hz * s->step);
    double low = low_hz * bins_per_hz, high = high_hz * bins_per_hz;
    return mean_over(s->power, s->bins, low, high) * fmax(0, high - low) / s->enbw;
}

/* Tone-to-noise and prominence ratio, ECMA-418-1; the noise is the floor across the critical band, so that other tones
 * in it do not count as noise. */
static void judge_tone(const lay_order_spectrum *s, lay_line *line) {
    double hz = line->hz, low, high, lower, upper, bins_per_hz = 1 / (s->mean_hz * s->step);
    line->tnr_db = line->pr_db = NOTHING_DB;
    if (hz <= 20 || line->power <= 0) return;
    lay_critical_band(hz, &low, &high);
    double density =
        mean_over(s->floor, s->bins, low * bins_per_hz, high * bins_per_hz) * bins_per_hz / s->enbw; /* per Hz */
    line->tnr_db = fmax(NOTHING_DB, lay_db_power(line->power / (density * (high - low))));
    lay_prominence_bands(hz, &lower, &upper);
    double below = band_power(s, lower, low), above = band_power(s, high, upper);
    if (hz <= 171.4 && low > lower) below *= 100 / (low - lower);
    if (below + above > 0)
        line->pr_db = fmax(NOTHING_DB, lay_db_power(band_power(s, low, high) / (0.5 * (below + above))));
}

static double significance_of(const lay_order_spectrum *s, size_t i, double places) {
    double dof = 2 * fmax(1, s->averages);
    if (s->floor[i] <= 0) return s->power[i] > 0 ? MOST_SIGNIFICANT : 0;
    double chance = places * lay_chi2_survival(dof * s->power[i] / s->floor[i], dof);
    if (chance <= 0) return MOST_SIGNIFICANT;
    return fmax(0, fmin(MOST_SIGNIFICANT, -log10(chance)));
}

static void measure(const lay_order_spectrum *s, size_t i, double places, lay_line *line) {
    double ratio = s->floor[i] > 0 ? bin_power(s, i) / s->floor[i] : 1e12, averages = fmax(1, s->averages);
    *line = (lay_line){.bin = i};
    line->order = ((double)i + offset_of(s, i)) * s->step;
    line->order_sd = s->step * fmax(0.002, 0.55 / sqrt(averages * fmax(ratio, 0.1)));
    line->hz = line->order * s->mean_hz;
    line->power = lobe_power(s, i);
    line->level_sd_db = 4.34 * sqrt((2 / fmax(ratio, 0.05) + 1 / fmax(ratio * ratio, 0.0025)) / averages);
    line->above_floor_db = s->floor[i] > 0 ? lay_db_power(s->power[i] / s->floor[i]) : 120;
    line->significance = significance_of(s, i, places);
    judge_tone(s, line);
}

lay_status lay_lines_find(const lay_order_spectrum *s, double min_significance, lay_line **out, size_t *count,
                          lay_error *err) {
    size_t capacity = 0;
    *out = NULL;
    *count = 0;
    for (size_t i = LOBE + 1; i + LOBE + 1 < s->bins; i++) {
        if (s->power[i] < s->power[i - 1] || s->power[i] <= s->power[i + 1] || s->power[i] < 1.5 * s->floor[i])
            continue;
        if (significance_of(s, i, (double)s->bins) < min_significance) continue;
        lay_status status = lay_grow((void **)out, &capacity, *count, sizeof **out, err);
        if (status != LAY_OK) {
            free(*out);
            *out = NULL;
            *count = 0;
            return status;
        }
        measure(s, i, (double)s->bins, &(*out)[(*count)++]);
    }
    return LAY_OK;
}

void lay_line_at(const lay_order_spectrum *s, double order, double tolerance, lay_line *out) {
    *out = (lay_line){.order = order, .tnr_db = NOTHING_DB, .pr_db = NOTHING_DB};
    double low = fmax(LOBE + 1, ceil((order - tolerance) / s->step)), high = floor((order + tolerance) / s->step);
    if (high < low) low = high = fmax(LOBE + 1, round(order / s->step));
    if (s->bins < 2 * LOBE + 4 || low > (double)(s->bins - LOBE - 2)) return;
    size_t first = (size_t)low, last = (size_t)fmin(high, (double)(s->bins - LOBE - 2)), top = first;
    for (size_t i = first; i <= last; i++)
        if (s->power[i] > s->power[top]) top = i;
    measure(s, top, (double)(last - first + 1), out);
}
