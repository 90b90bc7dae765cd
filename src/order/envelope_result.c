#include "follower.h"

#include <math.h>
#include <stdlib.h>

/* From the sums of all segments to the envelope spectra that are handed on. */

#define FLOOR_ORDERS 1.5  /* width of the local floor */
#define LEAST_SWING 0.002 /* variance of energy that any noise has: a band fallen silent has no floor of its own */

static void name_bands(const lay_envelope *e, lay_envelope_spectrum *out) {
    for (size_t i = 0; i < e->band_count; i++) {
        lay_band *band = &out->bands[i];
        band->low_hz = lay_bank_low_hz(&e->bank, e->from[i]);
        band->high_hz = lay_bank_high_hz(&e->bank, e->to[i] - 1);
        double frames = fmax(1, (double)e->bank.frames), width = (double)(e->to[i] - e->from[i]);
        for (size_t b = e->from[i]; b < e->to[i]; b++) {
            band->kurtosis += e->bank.kurtosis[b] / frames / width;
            band->power += e->bank.power[b] / frames;
        }
    }
}

/* Lines of the synchronous averages over the floor. A line of amplitude A has the power (A n / 4)^2 in a Hann segment
 * of n points, whose noise bandwidth is 1.5 / turns; that of an average over `length` turns is 1 / length. */
static void take_lines(const lay_envelope *e, size_t band, const double *floor, lay_envelope_spectrum *out) {
    double n = (double)e->n, segments = fmax(1, (double)e->segments), width = (double)(e->to[band] - e->from[band]);
    for (size_t l = 0; l < out->locked_count; l++) {
        lay_locked_line *lines = out->lines + (l * e->band_count + band) * LAY_LOCKED_LINES;
        lay_synchronous_lines(&e->average, l, e->from[band], e->to[band], lines);
        double length = lay_synchronous_turns(&e->average);
        for (int k = 1; k <= LAY_LOCKED_LINES && length > 0; k++) {
            size_t bin = (size_t)lround(k * out->locked[l] * (double)e->turns);
            if (bin < 1 || bin >= e->bins || floor[bin] <= 0) continue;
            double noise = 16 * floor[bin] / segments / (n * n * width * width) * (double)e->turns / (1.5 * length);
            lay_locked_line *line = &lines[k - 1];
            line->ratio = (float)(((double)line->re * line->re + (double)line->im * line->im) / noise);
        }
    }
}

static lay_status level_out(const lay_envelope *e, lay_envelope_spectrum *out, lay_error *err) {
    double *floor = lay_calloc(e->bins, sizeof *floor);
    if (!floor) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    double squares = 0;
    for (size_t i = 0; i < e->n; i++) squares += e->window[i] * e->window[i];
    double least = LEAST_SWING * squares * (double)e->segments;
    size_t width = (size_t)(FLOOR_ORDERS * (double)e->turns) | 1;
    lay_status status = LAY_OK;
    for (size_t band = 0; band < e->band_count && status == LAY_OK; band++) {
        const double *power = e->power + band * e->bins;
        status = lay_floor_estimate(power, e->bins, width < 31 ? 31 : width, out->averages, floor, err);
        for (size_t i = 0; i < e->bins; i++) floor[i] = fmax(floor[i], least);
        for (size_t i = 0; i < e->bins; i++)
            out->ratio[band * e->bins + i] = (float)(floor[i] > 0 ? power[i] / floor[i] : 0);
        if (status == LAY_OK) take_lines(e, band, floor, out);
    }
    free(floor);
    return status;
}

static void describe(const lay_envelope *e, lay_envelope_spectrum *out) {
    *out = (lay_envelope_spectrum){.step = 1 / (double)e->turns,
                                   .bins = e->bins,
                                   .band_count = e->band_count,
                                   .elementary = e->bank.bands,
                                   .segments = e->segments,
                                   .reach_hz = 2 / ((double)e->bank.n / e->bank.rate),
                                   .averages = lay_welch_effective(e->window, e->n, e->hop, e->segments),
                                   .revolutions = e->covered,
                                   .locked_count = e->average.count,
                                   .locked_turns = lay_synchronous_turns(&e->average)};
}

static lay_status make_result(const lay_envelope *e, lay_envelope_spectrum *out, lay_error *err) {
    describe(e, out);
    out->bands = lay_calloc(e->band_count, sizeof *out->bands);
    out->ratio = lay_calloc(e->band_count * e->bins, sizeof *out->ratio);
    out->locked = lay_calloc(out->locked_count + 1, sizeof *out->locked);
    out->lines = lay_calloc(out->locked_count * e->band_count * LAY_LOCKED_LINES + 1, sizeof *out->lines);
    if (!out->bands || !out->ratio || !out->locked || !out->lines)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    for (size_t l = 0; l < out->locked_count; l++) out->locked[l] = e->average.order[l];
    name_bands(e, out);
    return level_out(e, out, err);
}

lay_status lay_envelope_finish(lay_envelope *e, lay_envelope_spectrum *out, lay_error *err) {
    *out = (lay_envelope_spectrum){0};
    lay_status status = e->segments == 0 ? lay_envelope_shorten(e, err) : LAY_OK;
    if (status != LAY_OK) return status;
    if (e->segments == 0)
        return lay_fail(err, LAY_BAD_INPUT, "the recording ends before %zu turns of the reference shaft are complete",
                        e->turns);
    status = make_result(e, out, err);
    if (status != LAY_OK) lay_envelope_spectrum_free(out);
    return status;
}

void lay_envelope_spectrum_free(lay_envelope_spectrum *s) {
    if (!s) return;
    free(s->bands);
    free(s->ratio);
    free(s->locked);
    free(s->lines);
    *s = (lay_envelope_spectrum){0};
}
