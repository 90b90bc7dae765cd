#include "bank.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Short Hann spectra: the energy in a band, summed over its bins, is the squared envelope of that band smoothed by the
 * squared window. Dividing each band by its own running mean whitens the recording, so that neither a loud resonance
 * nor the low frequencies rule the sum over bands.
 *
 * A steady tone does not belong into an envelope: it only adds its beats with other tones and with the noise. Where the
 * spectral kurtosis of the last second shows that a tone fills a band, the band falls silent (Antoni 2006: K = <|c|^4>
 * /
 * <|c|^2>^2 - 2; 0 for Gaussian noise, -1 for a tone; formula from memory of the work). Stones and knocks are a hundred
 * times stronger than the noise and come at random: energies are cut at CEILING times their mean, which leaves repeated
 * impacts as they are in time. */

#define WINDOW_S 0.002
#define LOWEST_HZ 700.0    /* below, engine and road rule over all */
#define EVEN_TO_HZ 24000.0 /* bands of one bin up to here, wider ones above */
#define MEMORY_S 1.0
#define CEILING 10.0
#define CUT 6.0        /* how far one moment may lift the running means */
#define SILENCE 1e-100 /* a mean energy below this is none */
#define TONE -0.7      /* spectral kurtosis at which a band is a tone's ... */
#define NO_TONE -0.3   /* ... and from which it is not */

static void divide(lay_bank *bank) {
    double step = bank->rate / (double)bank->n;
    size_t last = (size_t)(0.47 * (double)bank->n), bin = (size_t)ceil(LOWEST_HZ / step);
    size_t even = (size_t)(EVEN_TO_HZ / step);
    size_t left = last > even ? last - even : 0, wide = 1 + left / 12;
    while (bin <= last && bank->bands < LAY_BANK_BANDS) {
        bank->first_bin[bank->bands++] = bin;
        bin += bin >= even ? wide : 1;
    }
    bank->first_bin[bank->bands] = bin <= last + 1 ? bin : last + 1;
}

/* A sum over several bins swings less than one bin does: how many independent ones it is worth. Power in the bins of a
 * Hann spectrum one apart is correlated by (2/3)^2, two apart by (1/6)^2. */
static double independent_bins(size_t bins) {
    double n = (double)bins, one = bins > 1 ? n - 1 : 0, two = bins > 2 ? n - 2 : 0;
    return n * n / (n + 2 * one * 4 / 9 + 2 * two / 36);
}

lay_status lay_bank_init(lay_bank *bank, double rate, int channels, lay_error *err) {
    *bank = (lay_bank){.rate = rate, .channels = channels};
    bank->n = 2 * (size_t)lround(0.5 * WINDOW_S * rate);
    if (!(rate >= 6000))
        return lay_fail(
            err, LAY_BAD_INPUT,
            "sampled too slowly to hear a case or a bearing ring when it is struck: record at 16 kHz or more");
    bank->hop = bank->n / 4;
    bank->keep = exp(-(double)bank->hop / rate / MEMORY_S);
    divide(bank);
    size_t means = (size_t)channels * bank->bands;
    lay_status status = lay_fft_new(bank->n, &bank->fft, err);
    if (status != LAY_OK) return status;
    bank->window = lay_calloc(bank->n, sizeof(double));
    bank->scratch = lay_calloc(bank->n, sizeof(double));
    bank->pairs = lay_calloc(bank->n + 2, sizeof(double));
    bank->fill = lay_calloc((size_t)channels * bank->n, sizeof(double));
    bank->mean = lay_calloc(means, sizeof(double));
    bank->square = lay_calloc(means, sizeof(double));
    bank->kurtosis = lay_calloc(bank->bands, sizeof(double));
    bank->energy = lay_calloc(bank->bands, sizeof(double));
    bank->power = lay_calloc(bank->bands, sizeof(double));
    if (!bank->window || !bank->scratch || !bank->pairs || !bank->fill || !bank->mean || !bank->square ||
        !bank->kurtosis || !bank->energy || !bank->power) {
        lay_bank_free(bank);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the envelope");
    }
    lay_window_fill(LAY_WINDOW_HANN, bank->window, bank->n);
    for (size_t b = 0; b < bank->bands; b++)
        bank->independent[b] = independent_bins(bank->first_bin[b + 1] - bank->first_bin[b]);
    double squares = 0;
    for (size_t i = 0; i < bank->n; i++) squares += bank->window[i] * bank->window[i];
    bank->scale = 2 / ((double)bank->n * squares); /* Parseval, one side */
    return LAY_OK;
}

void lay_bank_free(lay_bank *bank) {
    lay_fft_free(bank->fft);
    free(bank->window);
    free(bank->scratch);
    free(bank->pairs);
    free(bank->fill);
    free(bank->mean);
    free(bank->square);
    free(bank->kurtosis);
    free(bank->energy);
    free(bank->power);
    *bank = (lay_bank){0};
}

/* Energy of one band against its running mean, silenced as far as a tone fills the band. */
static double even_out(lay_bank *bank, size_t at, double independent, double energy, double *kurtosis) {
    double gain = 1 - bank->keep, known = bank->weight > 0 ? bank->mean[at] / bank->weight : energy;
    double taken = known > 0 && bank->weight > 0.02 ? fmin(energy, CUT * known) : energy;
    bank->mean[at] = bank->keep * bank->mean[at] + gain * taken;
    bank->square[at] = bank->keep * bank->square[at] + gain * energy * energy;
    double weight = bank->keep * bank->weight + gain, mean = bank->mean[at] / weight;
    if (!(mean > SILENCE && mean < 1 / SILENCE)) return 1;
    *kurtosis = (bank->square[at] / weight / (mean * mean) - 1) * independent - 1;
    double open = fmin(1, fmax(0, (*kurtosis - TONE) / (NO_TONE - TONE)));
    return 1 + open * (fmin(energy / mean, CEILING) - 1);
}

static void take(lay_bank *bank) {
    memset(bank->energy, 0, bank->bands * sizeof *bank->energy);
    for (size_t c = 0; c < (size_t)bank->channels; c++) {
        double *x = bank->fill + c * bank->n;
        for (size_t i = 0; i < bank->n; i++) bank->scratch[i] = x[i] * bank->window[i];
        lay_fft_forward(bank->fft, bank->scratch, bank->pairs);
        for (size_t b = 0; b < bank->bands; b++) {
            double energy = 0, kurtosis = 0;
            for (size_t k = bank->first_bin[b]; k < bank->first_bin[b + 1]; k++)
                energy += bank->pairs[2 * k] * bank->pairs[2 * k] + bank->pairs[2 * k + 1] * bank->pairs[2 * k + 1];
            bank->power[b] += bank->scale * energy;
            bank->energy[b] +=
                even_out(bank, c * bank->bands + b, bank->independent[b], energy, &kurtosis) / bank->channels;
            bank->kurtosis[b] += kurtosis / bank->channels;
        }
        memmove(x, x + bank->hop, (bank->n - bank->hop) * sizeof *x);
    }
    bank->weight = bank->keep * bank->weight + 1 - bank->keep;
    bank->frames++;
    bank->filled = bank->n - bank->hop;
}

size_t lay_bank_feed(lay_bank *bank, const double *frames, size_t count, bool *ready) {
    size_t wanted = bank->n - bank->filled, taken = count < wanted ? count : wanted;
    for (size_t i = 0; i < taken; i++)
        for (size_t c = 0; c < (size_t)bank->channels; c++) {
            double x = frames[i * (size_t)bank->channels + c];
            bank->fill[c * bank->n + bank->filled + i] = isfinite(x) ? x : 0;
        }
    bank->filled += taken;
    *ready = bank->filled == bank->n;
    if (*ready) take(bank);
    return taken;
}

double lay_bank_time(const lay_bank *bank) {
    return ((double)(bank->frames - 1) * (double)bank->hop + 0.5 * (double)bank->n) / bank->rate;
}

double lay_bank_low_hz(const lay_bank *bank, size_t band) {
    return ((double)bank->first_bin[band] - 0.5) * bank->rate / (double)bank->n;
}

double lay_bank_high_hz(const lay_bank *bank, size_t band) {
    return ((double)bank->first_bin[band + 1] - 0.5) * bank->rate / (double)bank->n;
}
