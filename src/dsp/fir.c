#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ATTENUATION 75.0 /* dB */
#define TAPS_MAX 65537
#define BLOCK 1024 /* frames filtered at a time */

struct lay_fir {
    size_t taps, channels;
    double *tap;  /* [taps], symmetric */
    double *line; /* [channels][taps - 1 + BLOCK], what was fed last in front of what comes */
};

/* Modified Bessel function of order zero, by its series. */
static double bessel_i0(double x) {
    double sum = 1, term = 1;
    for (int k = 1; k < 100 && term > 1e-17 * sum; k++) {
        term *= x * x / (4.0 * k * k);
        sum += term;
    }
    return sum;
}

/* Impulse response at distance d of an ideal low-pass with its edge at `hz`. */
static double low_pass(double hz, double rate, double d) {
    double f = 2 * hz / rate;
    return d == 0 ? f : sin(LAY_PI * f * d) / (LAY_PI * d);
}

static void design(lay_fir *fir, double rate, double low, double high) {
    double beta = 0.1102 * (ATTENUATION - 8.7), centre = 0.5 * (double)(fir->taps - 1), scale = bessel_i0(beta);
    for (size_t i = 0; i < fir->taps; i++) {
        double d = (double)i - centre, u = centre > 0 ? d / centre : 0;
        double window = bessel_i0(beta * sqrt(fmax(0, 1 - u * u))) / scale;
        double upper = high >= 0.5 * rate ? (d == 0 ? 1 : 0) : low_pass(high, rate, d);
        fir->tap[i] = window * (upper - low_pass(low, rate, d));
    }
}

lay_status lay_fir_new_band(double rate, double low_hz, double high_hz, double edge_hz, int channels, lay_fir **out,
                            lay_error *err) {
    *out = NULL;
    double taps = (ATTENUATION - 7.95) / (14.36 * edge_hz / rate);
    if (!(rate > 0) || !(low_hz > 0) || !(high_hz > low_hz) || !(edge_hz > 0) || channels < 1 || !(taps < TAPS_MAX))
        return lay_fail(err, LAY_BAD_INPUT, "no filter for a band from %.1f to %.1f Hz", low_hz, high_hz);
    lay_fir *fir = lay_calloc(1, sizeof *fir);
    if (!fir) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for a filter");
    fir->taps = 2 * (size_t)ceil(taps / 2) + 1;
    fir->channels = (size_t)channels;
    fir->tap = lay_calloc(fir->taps, sizeof *fir->tap);
    fir->line = lay_calloc(fir->channels * (fir->taps - 1 + BLOCK), sizeof *fir->line);
    if (!fir->tap || !fir->line) {
        lay_fir_free(fir);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for a filter");
    }
    /* the window's slope is centred on the edge of the ideal band */
    design(fir, rate, fmax(low_hz - 0.5 * edge_hz, 0), high_hz >= 0.5 * rate ? high_hz : high_hz + 0.5 * edge_hz);
    *out = fir;
    return LAY_OK;
}

void lay_fir_free(lay_fir *fir) {
    if (!fir) return;
    free(fir->tap);
    free(fir->line);
    free(fir);
}

size_t lay_fir_delay(const lay_fir *fir) {
    return (fir->taps - 1) / 2;
}

static void run_block(lay_fir *fir, const double *in, size_t frames, double *out) {
    size_t held = fir->taps - 1, stride = held + BLOCK;
    for (size_t c = 0; c < fir->channels; c++) {
        double *line = fir->line + c * stride;
        for (size_t i = 0; i < frames; i++) line[held + i] = in[i * fir->channels + c];
        for (size_t i = 0; i < frames; i++) {
            double sum = 0;
            for (size_t k = 0; k < fir->taps; k++) sum += fir->tap[k] * line[i + k];
            out[i * fir->channels + c] = sum;
        }
        memmove(line, line + frames, held * sizeof *line);
    }
}

void lay_fir_run(lay_fir *fir, const double *in, size_t frames, double *out) {
    while (frames > 0) {
        size_t n = frames < BLOCK ? frames : BLOCK;
        run_block(fir, in, n, out);
        in += n * fir->channels;
        out += n * fir->channels;
        frames -= n;
    }
}
