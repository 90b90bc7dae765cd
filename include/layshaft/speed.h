/* Shaft angle over time: from tach pulses, or from a stated rpm refined on the recording's own lines. */
#ifndef LAYSHAFT_SPEED_H
#define LAYSHAFT_SPEED_H

#include <layshaft/base.h>
#include <layshaft/dsp.h>

typedef enum lay_speed_source { LAY_SPEED_TACH, LAY_SPEED_STATED, LAY_SPEED_LOG, LAY_SPEED_SIGNAL } lay_speed_source;
LAY_API const char *lay_speed_source_name(lay_speed_source source); /* "tach", "stated", "log", "signal" */

/* Turns of the reference shaft over time: cubic between knots (monotone, continuous speed), valid inside
 * [time[0], time[count-1]]. Pieces without speed are gaps between segments. Plain data; `time` in s and strictly
 * rising, `turns` in turns and strictly rising, `hz` the speed in turns per second at the knot. */
typedef struct lay_shaft {
    double *time, *turns, *hz;
    double *sd;              /* relative standard uncertainty of hz at each knot; NULL: not estimated */
    size_t count;
    size_t *segment_start;   /* first knot of each usable segment, ascending; first is 0 */
    size_t segment_count;    /* a segment ends before the next one's first knot */
    lay_speed_source source;
    double confidence;       /* 0..1 */
    double correction;       /* stated speed: found / stated - 1; 0 otherwise */
    int missing_pulses, extra_pulses, glitches;
} lay_shaft;
LAY_API void lay_shaft_free(lay_shaft *shaft);
/* Turns and speed (turns/s) at time t; false outside every segment. `hint` (may be NULL) speeds up rising t. */
LAY_API bool lay_shaft_at(const lay_shaft *shaft, double t, size_t *hint, double *turns, double *hz);
/* Time at which `turns` is reached inside segment `segment`; false outside. */
LAY_API bool lay_shaft_time(const lay_shaft *shaft, size_t segment, double turns, size_t *hint, double *t);
LAY_API void lay_shaft_range(const lay_shaft *shaft, double *min_hz, double *mean_hz, double *max_hz, double *revolutions);
/* Constant speed over [0, duration]. */
LAY_API lay_status lay_shaft_constant(double hz, double duration, lay_shaft *out, lay_error *err);

/* ---- tach ---- */

typedef struct lay_tach lay_tach; /* streaming edge finder */
typedef struct lay_tach_options {
    double rate;           /* samples/s */
    double pulses_per_rev; /* of the body the tach looks at; 1..3600, fractions allowed */
    double body_order;     /* |turns| of that body per turn of the reference in this gear, > 0 */
} lay_tach_options;
LAY_API lay_status lay_tach_new(const lay_tach_options *options, lay_tach **out, lay_error *err);
/* Feed the tach channel in order. Hysteresis comes from the signal itself, either polarity, sub-sample edges. */
LAY_API lay_status lay_tach_feed(lay_tach *tach, const double *x, size_t stride, size_t count, lay_error *err);
/* Heal missing and double pulses (counted in `out`), smooth jitter within what edge timing can hold, build the shaft.
 * LAY_BAD_INPUT with a sentence that says what is wrong when there are no usable pulses. */
LAY_API lay_status lay_tach_finish(lay_tach *tach, lay_shaft *out, lay_error *err);
LAY_API void lay_tach_free(lay_tach *tach);

/* The last `window_s` seconds of a tach while it runs; three or so are enough at any speed of a shaft. */
typedef struct lay_tach_live lay_tach_live;
typedef struct lay_tach_look {
    double hz;                    /* turns/s of the reference at the last pulse */
    double min_hz, max_hz;        /* in the window */
    double since_s;               /* time since the last pulse */
    int missing, extra, glitches; /* pulses in the window, as in lay_shaft */
} lay_tach_look;
LAY_API lay_status lay_tach_live_new(const lay_tach_options *options, double window_s, lay_tach_live **out,
                                     lay_error *err);
LAY_API void lay_tach_live_free(lay_tach_live *live); /* NULL allowed */
LAY_API void lay_tach_live_feed(lay_tach_live *live, const double *x, size_t stride, size_t count);
/* How it looks now; costs a pass over the window. LAY_BAD_INPUT, with what is wrong, when there are no usable pulses. */
LAY_API lay_status lay_tach_live_look(const lay_tach_live *live, lay_tach_look *out, lay_error *err);

/* The shaft over the window; its time 0 is the window's first sample. Free with lay_shaft_free. */
LAY_API lay_status lay_tach_live_shaft(const lay_tach_live *live, lay_shaft *out, lay_error *err);
LAY_API double lay_tach_live_held(const lay_tach_live *live); /* s of samples in the window */

/* ---- rpm log, aligned to the recording ---- */

/* A logged speed; the arrays are borrowed. */
typedef struct lay_speed_log {
    const double *time; /* s on the log's own clock, strictly rising */
    const double *hz;   /* turns/s of the reference, >= 0 */
    size_t count;       /* >= 2 */
} lay_speed_log;

/* How much each moment of the recording speaks for each speed; borrowed. Rows may be on any scale of their own. */
typedef struct lay_speed_scores {
    const float *score; /* [frames * candidates], row by row; larger: more evidence. What is no number counts as none. */
    size_t frames, candidates;
    double first_s, hop_s; /* frame f is at first_s + f * hop_s in the recording */
    double low_hz, step;   /* candidate c is low_hz * exp(c * step) turns/s of the reference */
} lay_speed_scores;

typedef struct lay_log_limits {
    double max_offset_s; /* how far the clocks may differ beyond what a log or recording of the other's length needs
                          * anyway (which is granted up to an hour); 0: 120 */
    double max_drift;    /* 0: 5e-4 */
} lay_log_limits;

/* Recording time = log time * (1 + drift) + offset_s. */
typedef struct lay_log_fit {
    double offset_s, drift; /* drift stays 0 where the overlap is too short to tell it */
    double confidence;      /* 0..1 that the offset is right; below 0.5 do not rely on it */
    double overlap_s;       /* of the recording, told by the log */
    bool flat;              /* the logged speed hardly changes where both overlap, so that the offset cannot be told; when
                             * it is steady throughout, the offset is the one nearest 0 that lets the log tell most of
                             * the recording, and the speed may be used as a stated one */
} lay_log_fit;

/* Find the offset and drift at which the logged speeds are where the recording's evidence is. A lag of the log counts as
 * offset. LAY_BAD_INPUT when the log cannot overlap the recording within the limits, or when no logged speed lies within
 * the candidates; LAY_NO_MEMORY. */
LAY_API lay_status lay_log_align(const lay_speed_log *log, const lay_speed_scores *scores, const lay_log_limits *limits,
                                 lay_log_fit *out, lay_error *err);
/* The logged speed at recording time `t`, linear between readings; false outside the log and in its gaps (five times its
 * mean step, at least 3 s). */
LAY_API bool lay_log_at(const lay_speed_log *log, double offset_s, double drift, double t, double *hz);

/* ---- spectra over time, for pictures ---- */

typedef struct lay_stft_options {
    double rate;     /* samples/s */
    double window_s; /* length of the Hann window; a new spectrum starts after each quarter of it */
    double max_hz;   /* highest frequency kept; 0 or above the Nyquist rate: all */
    size_t columns;  /* at most so many, 2 or more: when a recording gives more spectra, neighbours are averaged */
} lay_stft_options;
/* Plain data. Bin b of column c is power[c * bins + b]: the mean square a sine of that frequency would need. */
typedef struct lay_spectrogram {
    double *power;
    size_t columns, bins;
    double start_s, step_s; /* centre of the first column, from one to the next */
    double step_hz;         /* bin b lies at b * step_hz; the window is padded to twice its length */
} lay_spectrogram;
LAY_API void lay_spectrogram_free(lay_spectrogram *s);
typedef struct lay_stft lay_stft; /* streaming short-time Fourier transform; memory does not grow with the length */
LAY_API lay_status lay_stft_new(const lay_stft_options *options, lay_stft **out, lay_error *err);
/* Samples that are no finite number count as 0. */
LAY_API void lay_stft_feed(lay_stft *stft, const double *x, size_t stride, size_t count);
/* May be called once, at the end. LAY_BAD_INPUT when nothing was fed; what is shorter than a window gives one column. */
LAY_API lay_status lay_stft_finish(lay_stft *stft, lay_spectrogram *out, lay_error *err);
LAY_API void lay_stft_free(lay_stft *stft);

/* ---- speed from the recording itself ---- */

/* One order that may be heard in a gear. */
typedef struct lay_track_order {
    double order; /* per turn of the reference */
    double heard; /* chance that it can be heard, between 0 and 1 */
    bool engine;  /* turns with the engine whatever the gear */
} lay_track_order;
typedef struct lay_track_gear {
    const lay_track_order *orders;
    size_t count;
    double prior; /* relative to the other gears' */
} lay_track_gear;
typedef struct lay_track_options {
    double rate;
    size_t channels;
    double low_hz, high_hz;           /* turns/s of the reference: where to look at all */
    double near_low_hz, near_high_hz; /* where it is said to be all the time; 0: nobody says. Believed unless the
                                       * recording says otherwise clearly */
    double stated_hz, stated_sd;      /* stated mean speed, relative standard uncertainty; 0: no opinion */
    const lay_shaft *known;           /* the speed itself, when only the gear is sought; else NULL */
    const lay_speed_log *log;         /* a log to go by, once its clock is found; else NULL */
    double firing_order;         /* of the engine, 0 none */
    const lay_track_gear *gears; /* [gear_count]: one when the gear is known */
    size_t gear_count;
} lay_track_options;

/* What the tracker found besides the shaft. */
typedef struct lay_track_result {
    lay_shaft shaft;          /* source LAY_SPEED_SIGNAL */
    size_t gear;              /* most probable */
    double *gear_probability; /* [gear_count] */
    double rival_ratio;       /* speed of the best other explanation over the found one, 0 none */
    double rival_probability;
    lay_log_fit log_fit;      /* of options.log; confidence 0 without one, or when it was of no use */
    lay_error log_error;      /* why it was of no use: a message, or empty */
} lay_track_result;

typedef struct lay_track lay_track; /* streaming; memory does not grow with the recording but for the knots */
LAY_API lay_status lay_track_new(const lay_track_options *options, lay_track **out, lay_error *err);
/* Interleaved frames of the analysed channels, in order. */
LAY_API lay_status lay_track_feed(lay_track *track, const double *frames, size_t count, lay_error *err);
LAY_API lay_status lay_track_finish(lay_track *track, lay_track_result *out, lay_error *err);
LAY_API void lay_track_free(lay_track *track);
LAY_API void lay_track_result_free(lay_track_result *result);

#endif
