/* The order domain: angular resampling, averaged order spectra, order map over speed, floor, lines; envelope spectra;
 * orders followed over time; averages over the turn of a body and what they say of its teeth. */
#ifndef LAYSHAFT_ORDER_H
#define LAYSHAFT_ORDER_H

#include <layshaft/base.h>
#include <layshaft/dsp.h>
#include <layshaft/speed.h>

/* The spectrum of one segment as it comes, before it is averaged; borrowed. */
typedef struct lay_order_segment {
    double hz;           /* of the reference, mean over the segment */
    const double *power; /* [bins] as in lay_order_spectrum, sum over channels; what lies above Nyquist is not in it */
    size_t bins;
    double step, enbw;
} lay_order_segment;
typedef void (*lay_order_sink)(const lay_order_segment *segment, void *user);

typedef struct lay_order_options {
    double rate;         /* samples/s of the input */
    int channels;        /* analysed channels, fed interleaved without the tach; combined by power */
    double max_order;    /* highest order wanted; content above min(rate/2, this) is filtered away */
    double resolution;   /* wanted order resolution (orders per bin), e.g. 1/64; segment = 1/resolution turns */
    lay_window window;   /* default Hann */
    double overlap;      /* 0.5..0.75 */
    int speed_classes;   /* rows of the order map, >= 1 */
    lay_order_sink sink; /* called for every segment; NULL: not wanted */
    void *user;          /* of the sink */
} lay_order_options;

/* Averaged order spectrum of one run. Bin i lies at order i * step. `power` is the mean square per bin in input units
 * with the window's gain taken out for tones: an on-bin sine of rms a gives a^2. Divide by (enbw * step) for density.
 */
typedef struct lay_order_spectrum {
    double step; /* orders per bin */
    size_t bins;
    double *power;     /* [bins], mean over segments and sum over channels */
    double *floor;     /* [bins], local noise floor in the same scale as power (mean noise per bin) */
    double *top_order; /* not an array per bin but [speed_classes]: highest order below Nyquist in that class */
    double enbw;       /* bins */
    size_t segments;
    double averages;                /* effective number of averages (channels counted) */
    double revolutions;             /* analysed */
    double mean_hz, min_hz, max_hz; /* of the reference over the analysed part */
    /* order map: rows are equal-width speed classes between min_hz and max_hz, empty rows have segments 0 */
    size_t classes;
    double *class_hz;       /* [classes] mean speed of the row's segments */
    double *class_segments; /* [classes] */
    double *map;            /* [classes * bins] mean power per row */
    /* Hz domain of the same samples: averaged spectrum for tones fixed in Hz (mains, inverters) */
    double hz_step;
    size_t hz_bins;
    double *hz_power; /* [hz_bins], same scale as power */
    double hz_enbw, hz_averages;
} lay_order_spectrum;
LAY_API void lay_order_spectrum_free(lay_order_spectrum *s);

typedef struct lay_order lay_order; /* streaming analyser */
/* Borrowed: `shaft` must outlive it. */
LAY_API lay_status lay_order_new(const lay_order_options *options, const lay_shaft *shaft, lay_order **out,
                                 lay_error *err);
/* frames interleaved [count * channels]; NaN samples are taken as 0. */
LAY_API lay_status lay_order_feed(lay_order *order, const double *frames, size_t count, lay_error *err);
/* LAY_BAD_INPUT when fewer turns were fed than one segment needs at the resolution (the segment is then halved down to
 * 8 turns before giving up; `step` tells what was used). */
LAY_API lay_status lay_order_finish(lay_order *order, lay_order_spectrum *out, lay_error *err);
LAY_API void lay_order_free(lay_order *order);

/* Local noise floor of a power spectrum: running low quantile over `width` bins turned into a mean by the chi-square
 * law of `averages` (so that it is unbiased in plain noise and untouched by lines). Fills floor[bins]. */
LAY_API lay_status lay_floor_estimate(const double *power, size_t bins, size_t width, double averages, double *floor,
                                      lay_error *err);

/* A narrow peak. */
typedef struct lay_line {
    double order, order_sd; /* centre and its standard uncertainty */
    double hz;              /* at mean speed */
    double power;           /* mean square of the tone, floor taken off */
    double level_sd_db;
    double above_floor_db; /* peak bin over floor */
    double significance;   /* -log10 of the chance that noise alone makes such a peak anywhere in the spectrum */
    double tnr_db, pr_db;  /* ECMA-418-1, with the floor around it, critical band at its mean Hz */
    size_t bin;
} lay_line;

/* All lines with significance >= `min_significance` (e.g. 3), rising order; caller frees *out with free(). */
LAY_API lay_status lay_lines_find(const lay_order_spectrum *s, double min_significance, lay_line **out, size_t *count,
                                  lay_error *err);
/* Measure what stands at a given order whether or not it is a line: tone power (>= 0) within +-`tolerance` orders,
 * floor power per bin there, tnr. */
LAY_API void lay_line_at(const lay_order_spectrum *s, double order, double tolerance, lay_line *out);

/* ---- envelope: how the energy of bands of Hz rises and falls over the angle ---- */

typedef struct lay_envelope_options {
    double rate;          /* samples/s of the input */
    int channels;         /* fed interleaved without the tach; their energies are averaged */
    double max_order;     /* highest order of the envelope wanted; 0: 28 */
    size_t turns;         /* of a segment, a power of two from 8 to 128; 0: from the length of the recording */
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
 * 1 in mean for noise, chi-square with 2 * averages degrees of freedom. The first bands are those of the finest
 * division, `elementary` of them; the rest are unions of neighbours, widest first. */
typedef struct lay_envelope_spectrum {
    double step;
    size_t bins;
    size_t band_count, elementary;
    lay_band *bands; /* [band_count] */
    float *ratio;    /* [band_count * bins] */
    size_t locked_count;
    double *locked;         /* [locked_count] orders as asked for */
    double locked_turns;    /* of the reference, averaged */
    lay_locked_line *lines; /* [locked_count * band_count * LAY_LOCKED_LINES], synchronous average (Hochmann 2004: noise
                             * falls with the number of turns averaged) over the longest stretch */
    double averages;        /* effective number */
    size_t segments;
    double revolutions; /* analysed */
    double reach_hz;    /* changes of energy above this frequency are smoothed away */
} lay_envelope_spectrum;
LAY_API void lay_envelope_spectrum_free(lay_envelope_spectrum *s);

typedef struct lay_envelope lay_envelope; /* streaming analyser */
/* Borrowed: `shaft` must outlive it. LAY_BAD_INPUT when the rate leaves no band to look at (below 6 kHz) or the shaft
 * does not turn. */
LAY_API lay_status lay_envelope_new(const lay_envelope_options *options, const lay_shaft *shaft, lay_envelope **out,
                                    lay_error *err);
/* frames interleaved [count * channels]; what is no finite number is taken as 0. */
LAY_API lay_status lay_envelope_feed(lay_envelope *envelope, const double *frames, size_t count, lay_error *err);
/* LAY_BAD_INPUT when no stretch holds 8 turns. */
LAY_API lay_status lay_envelope_finish(lay_envelope *envelope, lay_envelope_spectrum *out, lay_error *err);
LAY_API void lay_envelope_free(lay_envelope *envelope);

/* ---- orders followed over time: Vold-Kalman filter, second generation ---- */

/* A tone to follow: its phase is 2 pi (order * turns of the reference + hz * time). One of the two is usually 0. */
typedef struct lay_vk_track {
    double order, hz;
} lay_vk_track;

typedef enum lay_vk_width { LAY_VK_HZ, LAY_VK_ORDERS } lay_vk_width;

typedef struct lay_vk_options {
    double rate;                /* samples/s of the input */
    int channels;               /* fed interleaved, each followed by itself */
    const lay_vk_track *tracks; /* [track_count], copied; solved together where they cross or come close */
    size_t track_count;
    int poles; /* 1..3; 0: 2 */
    double
        bandwidth; /* -3 dB, two-sided, as for the filter of one pole pair: 1 / (1 + r^2 (2 - 2 cos w)^p) = 1/sqrt 2 */
    lay_vk_width width;  /* what `bandwidth` is counted in: the same Hz, or the same orders, all the way */
    size_t summed;       /* `sum` is of the first so many tracks, the others only keep out of their way; 0: of all */
    bool envelopes_only; /* `sum` is not made, NULL: takes half the time */
} lay_vk_options;

/* Results over a stretch of time; blocks follow one another without gap or overlap. Borrowed, valid during the call. */
typedef struct lay_vk_block {
    int64_t first_frame;
    size_t frames;
    const double
        *sum;      /* [frames * channels] all tracks together, in input units; 0 where the shaft's angle is not known */
    size_t points; /* of the envelopes in this stretch, some eight per 1 / bandwidth; none where there is no angle */
    const double *time, *turns, *hz; /* [points] of the reference */
    const double *envelope;          /* [points][track_count][channels] pairs (re, im): the track is the real part of
                                      * envelope * exp(i phase); its peak amplitude is the modulus */
} lay_vk_block;
typedef lay_status (*lay_vk_sink)(const lay_vk_block *block, void *user, lay_error *err);

typedef struct lay_vk lay_vk; /* streaming filter; memory does not grow with the length */
/* Borrowed: `shaft` must outlive it. LAY_BAD_INPUT when the options make no filter: bandwidth not above 0 or too wide
 * for the rate, no track, a track that is above half the rate at every speed of the shaft, a shaft that does not turn.
 */
LAY_API lay_status lay_vk_new(const lay_vk_options *options, const lay_shaft *shaft, lay_vk_sink sink, void *user,
                              lay_vk **out, lay_error *err);
/* What is no finite number counts as 0. An error of the sink ends it and is handed on. */
LAY_API lay_status lay_vk_feed(lay_vk *vk, const double *frames, size_t count, lay_error *err);
/* Deliver what is left; every frame fed has then been delivered once. */
LAY_API lay_status lay_vk_finish(lay_vk *vk, lay_error *err);
LAY_API void lay_vk_free(lay_vk *vk);
/* Weight r^2 of the penalty for a -3 dB two-sided `bandwidth` (same unit as `rate`): (sqrt 2 - 1) / (4 sin^2(pi
 * bandwidth / (2 rate)))^poles. The expanded polynomials of the literature cancel in doubles (derived here). */
LAY_API double lay_vk_weight(int poles, double bandwidth, double rate);

/* ---- time-synchronous average (TSA): the signal over one turn of a body ---- */

typedef struct lay_tsa_options {
    double rate;
    int channels;         /* fed interleaved, each averaged by itself */
    const double *bodies; /* [body_count] turns of each body per turn of the reference, > 0; copied */
    size_t body_count;
    double max_order;    /* highest order, per turn of the reference, that is kept; what lies above is filtered away */
    const size_t *whole; /* [body_count] turns are averaged in whole multiples of so many where there are enough, so
                          * that what repeats that often cancels: the teeth of the mate over the common factor let the
                          * mate's own turn vanish; NULL: as many as there are */
    size_t records;      /* besides the whole, averages of so many equal parts of it one after the other; 0: none */
} lay_tsa_options;

/* The average of one body. Point 0 is where order * turns of the reference is a whole number: with one tach pulse per
 * turn of this body, at the pulse. */
typedef struct lay_tsa_average {
    double order;            /* as asked for */
    size_t points, channels; /* of one turn; points is a power of two */
    double turns;            /* of the body, averaged */
    double max_order;        /* highest order per turn of the body that is in it */
    double *mean;            /* [channels * points], channel by channel */
    size_t records;
    double *record;      /* [records * channels * points] */
    double record_turns; /* of the body in each */
    double *power;       /* [channels] mean square of the signal that was averaged, up to max_order */
} lay_tsa_average;
LAY_API void lay_tsa_average_free(lay_tsa_average *average);

typedef struct lay_tsa lay_tsa; /* streaming; the longest stretch of the shaft without a break is taken */
LAY_API lay_status lay_tsa_new(const lay_tsa_options *options, const lay_shaft *shaft, lay_tsa **out, lay_error *err);
LAY_API lay_status lay_tsa_feed(lay_tsa *tsa, const double *frames, size_t count, lay_error *err);
/* out[body_count]. LAY_BAD_INPUT, with how many turns there were, when fewer than 4 of any body could be averaged. */
LAY_API lay_status lay_tsa_finish(lay_tsa *tsa, lay_tsa_average *out, lay_error *err);
LAY_API void lay_tsa_free(lay_tsa *tsa);

/* ---- condition of a gear from its average (definitions: Lebold et al., 54th MFPT (2000) 623; formulas from memory of
 * the works named at each) ---- */

/* What is taken off the average x, all in whole cycles per turn of the body:
 *   mesh harmonics      k * teeth, k = 1..harmonics, of every toothed wheel on the body
 *   shaft harmonics     1..shaft
 *   first sidebands     k * teeth +- 1..sidebands
 * residual = x less mean, shaft and mesh harmonics; difference = residual less the sidebands; regular = x - difference.
 */
typedef struct lay_condition_options {
    const int *teeth; /* [mesh_count] of the wheels on this body */
    size_t mesh_count;
    int harmonics; /* 0: all that the average holds */
    int shaft;     /* -1: 2 */
    int sidebands; /* -1: 1 */
    int band;      /* half-width of the band around the first wheel's mesh in cycles per turn; 0: half the teeth - 1 */
} lay_condition_options;

/* NaN: not computable (nothing is left after the removals, or only rounding). */
typedef struct lay_condition {
    double rms, crest, kurtosis; /* of x */
    double residual_kurtosis;
    double fm0;           /* Stewart 1977: (max x - min x) / sum of the peak amplitudes of the mesh harmonics */
    double fm4, m6a, m8a; /* Stewart 1977, Martin 1989: normalised moments of the difference */
    double na4;     /* Zakrajsek, Townsend and Decker 1993, over the records; the whole average when there are none */
    double nb4;     /* Zakrajsek, Handschuh and Decker 1994: the same of the envelope of the band */
    double slf, si; /* sideband level factor, sideband index */
    double er;      /* energy ratio: rms of difference / rms of regular */
    double worst_turn;  /* where on the turn, 0..1, the difference is largest in a window of one tooth */
    double worst_ratio; /* its energy there over its mean energy */
} lay_condition;

typedef struct lay_gear_signals {
    size_t points;
    double *residual, *difference, *regular, *band; /* [points] */
    double *amplitude, *phase; /* [points] of the band around the first mesh: peak amplitude; phase in rad less the
                                * carrier's, without jumps */
} lay_gear_signals;
LAY_API void lay_gear_signals_free(lay_gear_signals *signals);

/* x[points] is one turn. LAY_BAD_INPUT for no teeth, or a mesh order the turn cannot hold. */
LAY_API lay_status lay_gear_signals_of(const double *x, size_t points, const lay_condition_options *options,
                                       lay_gear_signals *out, lay_error *err);
/* `records` [record_count * points] for NA4 and NB4, oldest first; NULL with 0: x alone. */
LAY_API lay_status lay_condition_of(const double *x, size_t points, const double *records, size_t record_count,
                                    const lay_condition_options *options, lay_condition *out, lay_error *err);

#endif
