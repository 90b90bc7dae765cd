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

#endif
