#include "bank.h"

#include "dsp/hot.h"

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

/* The even length next to `wanted` that transforms fast: no prime factor above 5. */
static size_t fast_length(size_t wanted) {
    for (size_t away = 0; away < wanted; away++)
        for (int side = -1; side <= 1; side += 2) {
            size_t n = side < 0 ? wanted - away : wanted + away, rest = n;
            for (size_t p = 2; p <= 5; p++)
                while (rest % p == 0) rest /= p;
            if (n % 2 == 0 && rest == 1) return n;
        }
    return wanted;
}

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
    if (!(rate >= 6000))
        return lay_fail(
            err, LAY_BAD_INPUT,
            "sampled too slowly to hear a case or a bearing ring when it is struck: record at 16 kHz or more");
    bank->n = fast_length(2 * (size_t)lround(0.5 * WINDOW_S * rate));
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

typedef struct evening {
    double keep, now, cut, share, scale; /* now: 1 over the weight of the means with this moment */
} evening;

/* Energies of one channel against their running means, silenced as far as a tone fills the band. Parameters that share
 * no memory, and no branches, let bands go side by side. */
LAY_HOT static void even_bands(const evening *by, size_t bands, const double *restrict energy,
                               const double *restrict independent, double *restrict mean, double *restrict square,
                               double *restrict out, double *restrict power, double *restrict kurtosis) {
    const evening o = *by;
    for (size_t b = 0; b < bands; b++) {
        double e = energy[b], most = mean[b] > 0 ? o.cut * mean[b] : e;
        double sum = o.keep * mean[b] + (1 - o.keep) * lay_lesser(e, most), usual = sum * o.now, inverse = 1 / usual;
        double squares = o.keep * square[b] + (1 - o.keep) * e * e;
        double k = (squares * o.now * (inverse * inverse) - 1) * independent[b] - 1;
        double open = lay_lesser(1, lay_greater(0, (k - TONE) * (1 / (NO_TONE - TONE))));
        double even = 1 + open * (lay_lesser(e * inverse, CEILING) - 1);
        double known = (usual - SILENCE) * (1 / SILENCE - usual); /* both bounds in one comparison */
        mean[b] = sum;
        square[b] = squares;
        power[b] += o.scale * e;
        out[b] += o.share * (known > 0 ? even : 1);
        kurtosis[b] += o.share * (known > 0 ? k : 0);
    }
}

static void even_out(lay_bank *bank, size_t channel, const double *energy) {
    double weight = bank->keep * bank->weight + 1 - bank->keep;
    evening by = {bank->keep, 1 / weight, bank->weight > 0.02 ? CUT / bank->weight : 1e300, 1.0 / bank->channels,
                  bank->scale}; /* at first nothing is known, and nothing cut */
    even_bands(&by, bank->bands, energy, bank->independent, bank->mean + channel * bank->bands,
               bank->square + channel * bank->bands, bank->energy, bank->power, bank->kurtosis);
}

/* Power of the bins, channel by channel, summed in each band. */
static void take(lay_bank *bank) {
    double energy[LAY_BANK_BANDS];
    memset(bank->energy, 0, bank->bands * sizeof *bank->energy);
    for (size_t c = 0; c < (size_t)bank->channels; c++) {
        double *x = bank->fill + c * bank->n;
        for (size_t i = 0; i < bank->n; i++) bank->scratch[i] = x[i] * bank->window[i];
        lay_fft_forward(bank->fft, bank->scratch, bank->pairs);
        for (size_t b = 0; b < bank->bands; b++) {
            energy[b] = 0;
            for (size_t k = bank->first_bin[b]; k < bank->first_bin[b + 1]; k++)
                energy[b] += bank->pairs[2 * k] * bank->pairs[2 * k] + bank->pairs[2 * k + 1] * bank->pairs[2 * k + 1];
        }
        even_out(bank, c, energy);
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
