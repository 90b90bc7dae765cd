/* The order domain: angular resampling, averaged order spectra, order map over speed, floor, lines. */
#ifndef LAYSHAFT_ORDER_H
#define LAYSHAFT_ORDER_H

#include <layshaft/base.h>
#include <layshaft/dsp.h>
#include <layshaft/speed.h>

typedef struct lay_order_options {
    double rate;            /* samples/s of the input */
    int channels;           /* analysed channels, fed interleaved without the tach; combined by power */
    double max_order;       /* highest order wanted; content above min(rate/2, this) is filtered away */
    double resolution;      /* wanted order resolution (orders per bin), e.g. 1/64; segment = 1/resolution turns */
    lay_window window;      /* default Hann */
    double overlap;         /* 0.5..0.75 */
    int speed_classes;      /* rows of the order map, >= 1 */
} lay_order_options;

/* Averaged order spectrum of one run. Bin i lies at order i * step. `power` is the mean square per bin in input units
 * with the window's gain taken out for tones: an on-bin sine of rms a gives a^2. Divide by (enbw * step) for density. */
typedef struct lay_order_spectrum {
    double step;            /* orders per bin */
    size_t bins;
    double *power;          /* [bins], mean over segments and sum over channels */
    double *floor;          /* [bins], local noise floor in the same scale as power (mean noise per bin) */
    double *top_order;      /* not an array per bin but [speed_classes]: highest order below Nyquist in that class */
    double enbw;            /* bins */
    size_t segments;
    double averages;        /* effective number of averages (channels counted) */
    double revolutions;     /* analysed */
    double mean_hz, min_hz, max_hz;   /* of the reference over the analysed part */
    /* order map: rows are equal-width speed classes between min_hz and max_hz, empty rows have segments 0 */
    size_t classes;
    double *class_hz;       /* [classes] mean speed of the row's segments */
    double *class_segments; /* [classes] */
    double *map;            /* [classes * bins] mean power per row */
    /* Hz domain of the same samples: averaged spectrum for tones fixed in Hz (mains, inverters) */
    double hz_step;
    size_t hz_bins;
    double *hz_power;       /* [hz_bins], same scale as power */
    double hz_enbw, hz_averages;
} lay_order_spectrum;
LAY_API void lay_order_spectrum_free(lay_order_spectrum *s);

typedef struct lay_order lay_order; /* streaming analyser */
/* Borrowed: `shaft` must outlive it. */
LAY_API lay_status lay_order_new(const lay_order_options *options, const lay_shaft *shaft, lay_order **out, lay_error *err);
/* frames interleaved [count * channels]; NaN samples are taken as 0. */
LAY_API lay_status lay_order_feed(lay_order *order, const double *frames, size_t count, lay_error *err);
/* LAY_BAD_INPUT when fewer turns were fed than one segment needs at the resolution (the segment is then halved down to
 * 8 turns before giving up; `step` tells what was used). */
LAY_API lay_status lay_order_finish(lay_order *order, lay_order_spectrum *out, lay_error *err);
LAY_API void lay_order_free(lay_order *order);

/* Local noise floor of a power spectrum: running low quantile over `width` bins turned into a mean by the chi-square law of
 * `averages` (so that it is unbiased in plain noise and untouched by lines). Fills floor[bins]. */
LAY_API lay_status lay_floor_estimate(const double *power, size_t bins, size_t width, double averages, double *floor,
                                      lay_error *err);

/* A narrow peak. */
typedef struct lay_line {
    double order, order_sd;      /* centre and its standard uncertainty */
    double hz;                   /* at mean speed */
    double power;                /* mean square of the tone, floor taken off */
    double level_sd_db;
    double above_floor_db;       /* peak bin over floor */
    double significance;         /* -log10 of the chance that noise alone makes such a peak anywhere in the spectrum */
    double tnr_db, pr_db;        /* ECMA-418-1, with the floor around it, critical band at its mean Hz */
    size_t bin;
} lay_line;

/* All lines with significance >= `min_significance` (e.g. 3), rising order; caller frees *out with free(). */
LAY_API lay_status lay_lines_find(const lay_order_spectrum *s, double min_significance, lay_line **out, size_t *count,
                                  lay_error *err);
/* Measure what stands at a given order whether or not it is a line: tone power (>= 0) within +-`tolerance` orders, floor
 * power per bin there, tnr. */
LAY_API void lay_line_at(const lay_order_spectrum *s, double order, double tolerance, lay_line *out);

/* ---- envelope: how the energy of bands of Hz rises and falls over the angle ---- */

typedef struct lay_envelope_options {
    double rate;      /* samples/s of the input */
    int channels;     /* fed interleaved without the tach; their energies are averaged */
    double max_order; /* highest order of the envelope wanted; 0: 28 */
    size_t turns;     /* of a segment, a power of two from 8 to 128; 0: from the length of the recording */
    const double *locked; /* [locked_count] orders of bodies over whose turn the energy is averaged synchronously */
    size_t locked_count;
} lay_envelope_options;

#define LAY_LOCKED_LINES 24

/* The first line at n = 1. Angle of the blow of a body: the phase at which the lines are in step. */
typedef struct lay_locked_line {
    float re, im; /* of the averaged energy over one turn of the body, mean energy 1 */
    float ratio;  /* power over what noise leaves in the average, 1 in mean */
} lay_locked_line;

/* A band of Hz in which energy was followed. */
typedef struct lay_band {
    double low_hz, high_hz;
    double kurtosis; /* spectral kurtosis of the band as a whole, mean over time: 0 for Gaussian noise, -1 for a steady
                      * tone, above 0 where the energy comes in bursts (Antoni 2006, formula from memory of the work) */
    double power;    /* mean square, sum over channels */
} lay_band;

/* Squared envelope spectra of one run over the orders of its reference, one row per band. Bin i lies at order i * step.
 * ratio[band * bins + i] is the power of the energy's change at that order over the local floor of the same row:
 * 1 in mean for noise, chi-square with 2 * averages degrees of freedom. The first bands are those of the finest division,
 * `elementary` of them; the rest are unions of neighbours, widest first. */
typedef struct lay_envelope_spectrum {
    double step;
    size_t bins;
    size_t band_count, elementary;
    lay_band *bands;    /* [band_count] */
    float *ratio;       /* [band_count * bins] */
    size_t locked_count;
    double *locked;     /* [locked_count] orders as asked for */
    double locked_turns; /* of the reference, averaged */
    lay_locked_line *lines; /* [locked_count * band_count * LAY_LOCKED_LINES], synchronous average (Hochmann 2004: noise falls
                             * with the number of turns averaged) over the longest stretch */
    double averages;    /* effective number */
    size_t segments;
    double revolutions; /* analysed */
    double reach_hz;    /* changes of energy above this frequency are smoothed away */
} lay_envelope_spectrum;
LAY_API void lay_envelope_spectrum_free(lay_envelope_spectrum *s);

typedef struct lay_envelope lay_envelope; /* streaming analyser */
/* Borrowed: `shaft` must outlive it. LAY_BAD_INPUT when the rate leaves no band to look at (below 6 kHz) or the shaft does
 * not turn. */
LAY_API lay_status lay_envelope_new(const lay_envelope_options *options, const lay_shaft *shaft, lay_envelope **out,
                                    lay_error *err);
/* frames interleaved [count * channels]; what is no finite number is taken as 0. */
LAY_API lay_status lay_envelope_feed(lay_envelope *envelope, const double *frames, size_t count, lay_error *err);
/* LAY_BAD_INPUT when no stretch holds 8 turns. */
LAY_API lay_status lay_envelope_finish(lay_envelope *envelope, lay_envelope_spectrum *out, lay_error *err);
LAY_API void lay_envelope_free(lay_envelope *envelope);

#endif
