#include "speed_shades.h"

#include <math.h>
#include <stdlib.h>

#define WOBBLE 0.25 /* this quantile of all cells lies in the noise */
#define SPREAD 2.0  /* white ends so many times its distance from the median above it */
#define LEAST_WHITE_DB 1.5
#define MOST_WHITE_DB 6.0
#define BLACKEST 0.997 /* share of cells not yet black */
#define LEAST_BLACK_DB 20.0
#define MOST_BLACK_DB 40.0
#define SILENT 1e-26 /* mean square of digital silence with rounding */

void lay_shades_free(lay_shades *s) {
    free(s->shade);
    *s = (lay_shades){0};
}

static bool sounds(double power) {
    return power > SILENT; /* NaN does not */
}

/* Levels in dB; the mean over time of those that sound, per bin. */
static void levels(const lay_spectrogram *m, double *db, double *mean) {
    for (size_t b = 0; b < m->bins; b++) {
        size_t count = 0;
        for (size_t c = 0; c < m->columns; c++) {
            double power = m->power[c * m->bins + b];
            db[c * m->bins + b] = sounds(power) ? lay_db_power(power) : -INFINITY;
            if (!sounds(power)) continue;
            mean[b] += db[c * m->bins + b];
            count++;
        }
        mean[b] = count > 0 ? mean[b] / (double)count : 0;
    }
}

/* Each column less the noise of every frequency and of its own. */
static void level_out(const lay_spectrogram *m, const double *floor, double *db, double *sorted) {
    for (size_t c = 0; c < m->columns; c++) {
        double *column = db + c * m->bins;
        size_t count = 0;
        for (size_t b = 0; b < m->bins; b++) {
            column[b] -= floor[b];
            if (isfinite(column[b])) sorted[count++] = column[b];
        }
        double middle = count > 0 ? lay_median(sorted, count) : 0;
        for (size_t b = 0; b < m->bins; b++) column[b] -= middle;
    }
}

/* White up to where the noise wobbles, as it does below its median; black where few cells lie above. */
static void choose_levels(const double *db, size_t cells, double *sorted, lay_shades *out) {
    size_t count = 0;
    for (size_t i = 0; i < cells; i++)
        if (isfinite(db[i])) sorted[count++] = db[i];
    double low = count > 0 ? lay_quantile(sorted, count, WOBBLE) : 0;
    double black = count > 0 ? lay_quantile(sorted, count, BLACKEST) : 0;
    out->white_db = fmin(fmax(-SPREAD * low, LEAST_WHITE_DB), MOST_WHITE_DB);
    out->black_db = fmin(fmax(black, LEAST_BLACK_DB), MOST_BLACK_DB);
}

lay_status lay_shades_make(const lay_spectrogram *m, lay_shades *out, lay_error *err) {
    size_t cells = m->columns * m->bins;
    double *db = lay_calloc(cells, sizeof *db), *sorted = lay_calloc(cells, sizeof *sorted);
    double *mean = lay_calloc(m->bins, sizeof *mean), *floor = lay_calloc(m->bins, sizeof *floor);
    *out = (lay_shades){.shade = lay_calloc(cells, 1)};
    lay_status status = LAY_NO_MEMORY;
    if (!db || !sorted || !mean || !floor || !out->shade) {
        lay_fail(err, status, "not enough memory to draw the spectra over time");
        goto done;
    }
    levels(m, db, mean);
    status = lay_running_quantile(mean, m->bins, m->bins / 8 | 9, 0.5, floor, err);
    if (status != LAY_OK) goto done;
    level_out(m, floor, db, sorted);
    choose_levels(db, cells, sorted, out);
    for (size_t i = 0; i < cells; i++) {
        double share = (db[i] - out->white_db) / (out->black_db - out->white_db);
        out->shade[i] = (unsigned char)lround(100 * fmin(fmax(share, 0), 1));
    }
done:
    free(db);
    free(sorted);
    free(mean);
    free(floor);
    if (status != LAY_OK) lay_shades_free(out);
    return status;
}
