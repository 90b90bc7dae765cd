/* Mains hum: 50 or 60 Hz and its multiples, narrow and fixed.
 *
 * Averaged spectrum of overlapping Hann segments of 2 to 4 s [Welch1967: P. D. Welch, The use of fast Fourier transform
 * for the estimation of power spectra, IEEE Trans. Audio Electroacoust. 15 (1967)]. The grid holds its frequency within
 * 0.1 Hz (common practice, no source), so a multiple is a local maximum near enough to its frequency, 10 dB above the
 * median around it, and not 70 dB below all there is. The fundamental and two more make hum. */
#include "check_hum.h"

#include <layshaft/dsp.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double segment_s = 2;
static const double floor_near_hz = 2, floor_far_hz = 9, least_db = 10;
static const double least_share = 1e-7; /* of the power; weaker hum does no harm, and rounding can look like it */
enum { MULTIPLES = 6, LEAST_MULTIPLES = 2 };

typedef struct hum_channel {
    double *samples; /* [size] being filled */
    double *power;   /* [size / 2 + 1] sum over segments */
    size_t fill;
    int64_t segments;
} hum_channel;

struct lay_hum_check {
    double rate;
    size_t size; /* samples per segment */
    int channel_count;
    hum_channel *channels;
    double *window, *segment, *pairs;
    lay_fft *fft;
};

static bool allocate(lay_hum_check *hum, int channels) {
    hum->window = lay_calloc(hum->size, sizeof(double));
    hum->segment = lay_calloc(hum->size, sizeof(double));
    hum->pairs = lay_calloc(hum->size + 2, sizeof(double));
    hum->channels = lay_calloc((size_t)channels, sizeof *hum->channels);
    if (!hum->window || !hum->segment || !hum->pairs || !hum->channels) return false;
    hum->channel_count = channels;
    for (int i = 0; i < channels; i++) {
        hum->channels[i].samples = lay_calloc(hum->size, sizeof(double));
        hum->channels[i].power = lay_calloc(hum->size / 2 + 1, sizeof(double));
        if (!hum->channels[i].samples || !hum->channels[i].power) return false;
    }
    return true;
}

lay_status lay_hum_new(double rate, int channels, lay_hum_check **out, lay_error *err) {
    *out = NULL;
    lay_hum_check *hum = lay_calloc(1, sizeof *hum);
    if (hum == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    hum->rate = rate;
    hum->size = 16;
    while ((double)hum->size < segment_s * rate) hum->size *= 2;
    lay_status status = allocate(hum, channels)
                            ? lay_fft_new(hum->size, &hum->fft, err)
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    if (status != LAY_OK) {
        lay_hum_free(hum);
        return status;
    }
    lay_window_fill(LAY_WINDOW_HANN, hum->window, hum->size);
    *out = hum;
    return LAY_OK;
}

void lay_hum_free(lay_hum_check *hum) {
    if (hum == NULL) return;
    for (int i = 0; i < hum->channel_count; i++) {
        free(hum->channels[i].samples);
        free(hum->channels[i].power);
    }
    lay_fft_free(hum->fft);
    free(hum->channels);
    free(hum->window);
    free(hum->segment);
    free(hum->pairs);
    free(hum);
}

/* Adds the full segment to the sum and keeps its second half. The mean goes first: it would leak into the floor. */
static void add_segment(lay_hum_check *hum, hum_channel *c) {
    double mean = lay_mean(c->samples, hum->size);
    for (size_t i = 0; i < hum->size; i++) hum->segment[i] = (c->samples[i] - mean) * hum->window[i];
    lay_fft_forward(hum->fft, hum->segment, hum->pairs);
    for (size_t k = 0; k <= hum->size / 2; k++) {
        double re = hum->pairs[2 * k], im = hum->pairs[2 * k + 1];
        c->power[k] += re * re + im * im;
    }
    c->segments++;
    c->fill = hum->size / 2;
    memmove(c->samples, c->samples + hum->size - c->fill, c->fill * sizeof(double));
}

void lay_hum_feed(lay_hum_check *hum, int channel, const double *x, size_t n) {
    hum_channel *c = &hum->channels[channel];
    while (n > 0) {
        size_t part = hum->size - c->fill < n ? hum->size - c->fill : n;
        memcpy(c->samples + c->fill, x, part * sizeof(double));
        c->fill += part;
        x += part;
        n -= part;
        if (c->fill == hum->size) add_segment(hum, c);
    }
}

/* ---- reading the spectrum ---- */

/* Median power between floor_near_hz and floor_far_hz to both sides; `scratch` holds the spectrum's size. */
static double local_floor(const lay_hum_check *hum, const double *power, double hz, double *scratch) {
    double bin_hz = hum->rate / (double)hum->size;
    size_t n = 0, last = hum->size / 2;
    size_t first = hz > floor_far_hz ? (size_t)((hz - floor_far_hz) / bin_hz) : 0;
    for (size_t k = first; k <= last && (double)k * bin_hz <= hz + floor_far_hz; k++)
        if (fabs((double)k * bin_hz - hz) >= floor_near_hz) scratch[n++] = power[k];
    return n == 0 ? 0 : lay_median(scratch, n);
}

/* Frequency of a maximum at bin k of a Hann spectrum: parabola through the three levels in dB. */
static double peak_hz(const lay_hum_check *hum, const double *power, size_t k) {
    double bin_hz = hum->rate / (double)hum->size;
    double a = lay_db_power(power[k - 1]), b = lay_db_power(power[k]), c = lay_db_power(power[k + 1]);
    double bend = a - 2 * b + c;
    return bin_hz * ((double)k + (bend < 0 ? 0.5 * (a - c) / bend : 0));
}

/* Allowed deviation of the m-th multiple: reading error of a peak in noise and the grid's own wandering. */
static double tolerance_hz(int m) {
    return fmin(0.08 + 0.05 * m, 0.3);
}

static double total_power(const lay_hum_check *hum, const double *power) {
    double sum = 0;
    for (size_t k = 0; k <= hum->size / 2; k++) sum += power[k];
    return sum;
}

/* Level of the peak at `hz` above the floor in dB, 0 when there is none. */
static double multiple_db(const lay_hum_check *hum, const double *power, double hz, double tolerance, double *scratch) {
    double bin_hz = hum->rate / (double)hum->size;
    double base = local_floor(hum, power, hz, scratch), least = least_share * total_power(hum, power), best = 0;
    if (!(base > 0)) return 0;
    size_t first = (size_t)(hz / bin_hz) - 1, last = (size_t)(hz / bin_hz) + 2;
    for (size_t k = first; k <= last; k++) {
        if (!(power[k] >= power[k - 1] && power[k] > power[k + 1] && power[k] > least)) continue;
        if (fabs(peak_hz(hum, power, k) - hz) > tolerance) continue;
        best = fmax(best, lay_db_power(power[k] / base));
    }
    return best >= least_db ? best : 0;
}

static double family_db(const lay_hum_check *hum, const double *power, double mains_hz, double *scratch) {
    double strongest = 0;
    int found = 0;
    for (int m = 1; m <= MULTIPLES && m * mains_hz + floor_far_hz < 0.4 * hum->rate; m++) {
        double db = multiple_db(hum, power, m * mains_hz, tolerance_hz(m), scratch);
        if (m == 1 && db <= 0) return 0;
        found += m > 1 && db > 0;
        strongest = fmax(strongest, db);
    }
    return found >= LEAST_MULTIPLES ? strongest : 0;
}

lay_status lay_hum_finish(const lay_hum_check *hum, int channel, double *hz, double *db, lay_error *err) {
    static const double mains[] = {50, 60};
    const hum_channel *c = &hum->channels[channel];
    *hz = *db = 0;
    if (c->segments == 0) return LAY_OK; /* too short to tell */
    double *scratch = lay_calloc(hum->size / 2 + 1, sizeof *scratch);
    if (scratch == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    for (int i = 0; i < 2; i++) {
        double level = family_db(hum, c->power, mains[i], scratch);
        if (level <= *db) continue;
        *db = level;
        *hz = mains[i];
    }
    free(scratch);
    return LAY_OK;
}
