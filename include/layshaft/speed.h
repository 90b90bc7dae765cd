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

/* ---- stated rpm, refined ---- */

typedef struct lay_refine_options {
    double rate;
    double stated_low_hz, stated_high_hz; /* turns/s of the reference; equal: a stated value */
    double search;          /* relative half-width searched about the stated range, e.g. 0.06 */
    const double *orders;   /* lines the unit can make in this gear, most trusted first */
    const double *weights;  /* prior weight, > 0; from the first below 0.05 on, orders confirm a speed, never lead to it */
    size_t order_count;
} lay_refine_options;
typedef struct lay_refine lay_refine; /* streaming: collects short-time spectra, memory bounded by decimating in time */
LAY_API lay_status lay_refine_new(const lay_refine_options *options, lay_refine **out, lay_error *err);
LAY_API lay_status lay_refine_feed(lay_refine *refine, const double *x, size_t stride, size_t count, lay_error *err);
/* Speed over time near the stated one on the evidence of all orders together; confidence says how much better the found
 * speed explains the recording than its rivals. Without evidence the stated speed is kept with low confidence. */
LAY_API lay_status lay_refine_finish(lay_refine *refine, lay_shaft *out, lay_error *err);
LAY_API void lay_refine_free(lay_refine *refine);

#endif
