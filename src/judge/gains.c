#include "gains.h"

#include <math.h>
#include <stdlib.h>

#define BANDS LAY_BASELINE_BANDS
#define BAND_SCATTER                                                                                                   \
    0.35                 /* of a band's power from unit to unit, beyond what the line as a whole does (derived here)   \
                          */
#define DROWNED 0.5      /* a line that is not heard is taken for so many deviations of its noise */
#define FLOOR_DOUBT 0.05 /* of the noise, by which its estimate is off over a whole recording (derived here) */
#define FAR 2.5          /* deviations from which a value is drawn in */
#define ROUNDS 3

/* What good units have in one band. */
typedef struct usual {
    double power, noise, averages;
    bool known;
} usual;

typedef struct fitting {
    const lay_baseline *b;
    const bool *used;
    const lay_baseline_level *levels;
    usual at[BANDS];
    double *values; /* [unit_count] */
} fitting;

static const lay_baseline_level *level_at(const fitting *f, size_t unit, int band) {
    return &f->levels[unit * BANDS + (size_t)band];
}

static bool measured(const fitting *f, size_t unit) {
    for (int k = 0; k < BANDS; k++)
        if (!isnan(level_at(f, unit, k)->level_db)) return true;
    return false;
}

/* Square of the deviation of a ratio to the usual power: noise, noise against the tone. */
static double noise_doubt(const usual *at, double ratio, double noise, double averages) {
    return noise * (noise + 2 * at->power * fmax(0, ratio)) / (fmax(1, averages) * at->power * at->power);
}

static double doubt(const usual *at, double ratio, double noise, double averages) {
    double scatter = BAND_SCATTER * fmax(0.3, ratio);
    return noise_doubt(at, ratio, noise, averages) + scatter * scatter;
}

/* Mean of the good units without those far off their median. */
static double usual_power(const double *values, size_t n, double median, double deviation) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) sum += fmin(median + FAR * deviation, fmax(median - FAR * deviation, values[i]));
    return sum / (double)n;
}

static void find_usual(fitting *f, int band, size_t good) {
    usual *at = &f->at[band];
    size_t n = 0;
    *at = (usual){0};
    for (size_t u = 0; u < f->b->unit_count; u++) {
        const lay_baseline_level *level = level_at(f, u, band);
        if (!f->used[u] || isnan(level->level_db)) continue;
        f->values[n++] = lay_baseline_tone(level);
        at->noise += lay_db_to_power(level->noise_db);
        at->averages += fmax(1, level->averages);
    }
    if (n < 2 || 2 * n < good) return;
    at->noise /= (double)n;
    at->averages /= (double)n;
    double floor = at->noise / sqrt(at->averages), median = lay_median(f->values, n);
    double deviation = hypot(floor, 0.5 * fmax(0, median));
    at->power = fmax(DROWNED * floor, usual_power(f->values, n, median, deviation));
    at->known = at->power > 0;
}

typedef struct ratio {
    double value, noise, averages, weight;
    const usual *at;
} ratio;

static int by_value(const void *a, const void *b) {
    double x = ((const ratio *)a)->value, y = ((const ratio *)b)->value;
    return (x > y) - (x < y);
}

static double weighted_median(ratio *r, size_t n) {
    double all = 0, sum = 0;
    qsort(r, n, sizeof *r, by_value);
    for (size_t i = 0; i < n; i++) all += r[i].weight;
    for (size_t i = 0; i < n; i++)
        if ((sum += r[i].weight) >= 0.5 * all) return r[i].value;
    return r[n - 1].value;
}

static double drawn_in_mean(const ratio *r, size_t n, double centre) {
    double sum = 0, weights = 0;
    for (size_t i = 0; i < n; i++) {
        double far = FAR * sqrt(doubt(r[i].at, centre, r[i].noise, r[i].averages));
        sum += r[i].weight * fmin(centre + far, fmax(centre - far, r[i].value));
        weights += r[i].weight;
    }
    return sum / weights;
}

static size_t ratios_of(const fitting *f, size_t unit, ratio *r, size_t *known) {
    size_t n = 0;
    *known = 0;
    for (int k = 0; k < BANDS; k++) {
        const lay_baseline_level *level = level_at(f, unit, k);
        *known += f->at[k].known;
        if (!f->at[k].known || isnan(level->level_db)) continue;
        r[n] = (ratio){.noise = lay_db_to_power(level->noise_db), .averages = level->averages, .at = &f->at[k]};
        r[n].value = lay_baseline_tone(level) / f->at[k].power;
        r[n].weight = 1 / doubt(r[n].at, 1, r[n].noise, r[n].averages);
        n++;
    }
    return n;
}

/* Gain of a unit and its variance from noise; NaN without a band. */
static double gain_of(const fitting *f, size_t unit, double *variance, double *covered) {
    ratio r[BANDS];
    size_t known, n = ratios_of(f, unit, r, &known);
    *variance = NAN;
    *covered = known > 0 ? (double)n / (double)known : 0;
    if (n == 0) return NAN;
    double gain = weighted_median(r, n), weights = 0, sum = 0, floor = 0;
    for (int round = 0; round < ROUNDS; round++) gain = drawn_in_mean(r, n, gain);
    for (size_t i = 0; i < n; i++) {
        weights += r[i].weight;
        sum += r[i].weight * r[i].weight * noise_doubt(r[i].at, 1, r[i].noise, r[i].averages);
        floor += r[i].weight * FLOOR_DOUBT * r[i].noise / r[i].at->power;
    }
    *variance = (sum + floor * floor) / (weights * weights);
    return gain;
}

static void find_gains(fitting *f, lay_gain *out) {
    size_t n = 0, good = 0;
    double squares = 0;
    for (size_t u = 0; u < f->b->unit_count; u++) {
        double variance;
        good += f->used[u];
        out->of[u] = gain_of(f, u, &variance, &out->covered[u]);
        if (!f->used[u] || isnan(out->of[u])) continue;
        out->mean += out->of[u];
        squares += out->of[u] * out->of[u];
        f->values[n++] = variance;
    }
    double count = (double)n;
    out->units = 2 * n >= good ? (int)n : 0;
    out->scatter = n > 2 ? fmax(0, squares - out->mean * out->mean / count) / (count - 1) : NAN;
    out->mean = n > 0 ? out->mean / count : NAN;
    out->variance = n > 0 ? lay_median(f->values, n) : NAN;
}

lay_status lay_gain_find(const lay_baseline *b, const bool *used, const lay_baseline_line *line, lay_gain *out,
                         lay_error *err) {
    fitting f = {.b = b, .used = used, .levels = line->levels};
    *out = (lay_gain){0};
    f.values = lay_calloc(b->unit_count + 1, sizeof(double));
    out->of = lay_calloc(b->unit_count + 1, sizeof(double));
    out->covered = lay_calloc(b->unit_count + 1, sizeof(double));
    if (!f.values || !out->of || !out->covered) {
        free(f.values);
        lay_gain_free(out);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the limits");
    }
    size_t good = 0;
    for (size_t u = 0; u < b->unit_count; u++) good += used[u] && measured(&f, u);
    for (int k = 0; k < BANDS; k++) find_usual(&f, k, good);
    find_gains(&f, out);
    free(f.values);
    return LAY_OK;
}

void lay_gain_free(lay_gain *gain) {
    free(gain->of);
    free(gain->covered);
    *gain = (lay_gain){0};
}
