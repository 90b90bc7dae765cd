/* Energy of a bank of bands over time, evened out so that every band has the mean 1. */
#ifndef LAYSHAFT_ORDER_BANK_H
#define LAYSHAFT_ORDER_BANK_H

#include <layshaft/order.h>

#define LAY_BANK_BANDS 64 /* at most */

typedef struct lay_bank {
    lay_fft *fft;
    size_t n, hop; /* samples of a short spectrum and from one to the next */
    int channels;
    double rate;
    size_t bands;
    size_t first_bin[LAY_BANK_BANDS + 1]; /* of each band; the last entry ends the last band */
    double independent[LAY_BANK_BANDS];   /* how many independent bins a band is worth */
    double *window, *scratch, *pairs;
    double *fill; /* [channels * n] */
    size_t filled;
    int64_t frames;        /* short spectra so far */
    double keep;           /* share of the running means that stays from one short spectrum to the next */
    double weight;         /* of the running means, towards 1 */
    double *mean, *square; /* [channels * bands] running mean of the energy, and of its square */
    double *kurtosis;      /* [bands] summed over frames and channels */
    double *power;         /* [bands] mean squares summed over frames, and over channels */
    double scale;          /* |X|^2 of one bin -> mean square */
    double *energy;        /* [bands] of the latest short spectrum */
} lay_bank;

/* LAY_BAD_INPUT when the rate leaves no band. */
lay_status lay_bank_init(lay_bank *bank, double rate, int channels, lay_error *err);
void lay_bank_free(lay_bank *bank);
/* Takes frames up to the end of the next short spectrum, at most `count`; returns how many. *ready: bank->energy holds
 * the next one, whose centre lies at lay_bank_time(bank). */
size_t lay_bank_feed(lay_bank *bank, const double *frames, size_t count, bool *ready);
/* Centre of the latest short spectrum, s from the first sample. */
double lay_bank_time(const lay_bank *bank);
double lay_bank_low_hz(const lay_bank *bank, size_t band);
double lay_bank_high_hz(const lay_bank *bank, size_t band);

#endif
