/* What is wrong with samples one by one: peak, mean, clipping, drop-outs, values that are no numbers. */
#ifndef LAYSHAFT_SIGNAL_CHECK_SAMPLES_H
#define LAYSHAFT_SIGNAL_CHECK_SAMPLES_H

#include <layshaft/signal.h>

enum {
    LAY_DROPOUT_LEAST = 16,  /* samples in a drop-out, however low the rate */
    LAY_DROPOUT_BEFORE = 64, /* steps before it that show whether the signal was alive */
    LAY_CHECK_HISTORY = LAY_DROPOUT_LEAST + LAY_DROPOUT_BEFORE + 16
};

/* Flat tops at one extreme; `level` is its height, counted away from zero on its own side. */
typedef struct lay_flat_tops {
    double level;
    int64_t run;         /* samples of the run in progress */
    int64_t flat;        /* samples in runs of two and more */
    int64_t pairs, tops; /* runs of two and more, of three and more, that no smooth peak makes */
} lay_flat_tops;

/* Zero it to start, then lay_samples_start. */
typedef struct lay_sample_check {
    int64_t count, bad;
    double shift, sum, sum2; /* of x - shift */
    double min, max;
    double quantum; /* smallest step between neighbours seen */
    lay_flat_tops top, bottom;
    double held; /* value of the constant run in progress */
    int64_t run, least_run;
    bool live; /* the signal moved before the run in progress */
    int dropouts;
    int64_t dropped; /* samples */
} lay_sample_check;

void lay_samples_start(lay_sample_check *s, double rate);
/* x[0..n-1] with LAY_CHECK_HISTORY samples before it that hold what was fed last (zeros at the start). Values
 * that are no numbers are set to 0 in place. */
void lay_samples_feed(lay_sample_check *s, double *x, size_t n);
/* Fills peak, rms, dc, clipped, clip_level, not_a_number, dropouts, dropout_s, silent. */
void lay_samples_finish(const lay_sample_check *s, double rate, bool integer, lay_channel_check *out);

#endif
