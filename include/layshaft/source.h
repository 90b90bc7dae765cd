/* Which part makes what: one run's lines explained by the part families of the unit in that gear, and
 * what stands at any order of that run, line or not. */
#ifndef LAYSHAFT_SOURCE_H
#define LAYSHAFT_SOURCE_H

#include <layshaft/order.h>
#include <layshaft/signal.h>
#include <layshaft/speed.h>
#include <layshaft/unit.h>

/* Why a line is where it is. */
typedef enum lay_line_class {
    LAY_LINE_UNKNOWN,
    LAY_LINE_MESH,  /* harmonic or sideband of a mesh */
    LAY_LINE_SHAFT, /* low multiple of a body's turn */
    LAY_LINE_ENGINE,
    LAY_LINE_AXLE,
    LAY_LINE_ROTOR,
    LAY_LINE_BEARING,
    LAY_LINE_GHOST,    /* whole number per turn of one body that no mesh explains */
    LAY_LINE_FIXED_HZ, /* mains hum, inverter tones */
    LAY_LINE_CLASS_COUNT
} lay_line_class;
LAY_API const char *lay_line_class_name(lay_line_class class_);

/* One possible explanation of a line. `part` indexes lay_run_evidence.expected (-1 none). */
typedef struct lay_claim {
    lay_line_class class_;
    int part;
    int harmonic;       /* of the part's base order; for ghosts the events per turn of `body` */
    int sideband;       /* number of `body` turns away from the harmonic, signed */
    int body;           /* whose turns space the sidebands, or that carries the ghost; -1 none */
    double order;       /* where the line should be */
    double probability; /* share of this line */
} lay_claim;

#define LAY_CLAIMS_MAX 6

/* A line with its explanations, most probable first; claim_count 0: unknown. */
typedef struct lay_explained_line {
    lay_line line;
    lay_claim claims[LAY_CLAIMS_MAX];
    int claim_count;
} lay_explained_line;

/* Everything one run says. */
typedef struct lay_run_evidence {
    int gear; /* index into unit->gears, -1 unknown */
    lay_load load;
    lay_sensor sensor;
    lay_quantity quantity;
    double full_scale; /* value of digital full scale in `quantity` units */
    double duration_s;
    bool usable; /* false: no speed or no spectrum; `warnings` says why */
    lay_kinematics kinematics;
    lay_expected *expected; /* borrows names from the unit */
    size_t expected_count;
    lay_explained_line *lines;
    size_t line_count;
    lay_speed_source speed_source;
    int tach_body;        /* body the tach looks at; -1 the reference itself, or no tach */
    bool tach_marks_turn; /* one pulse per turn of it */
    double speed_confidence, speed_correction, mean_hz, min_hz, max_hz, revolutions;
    lay_shaft shaft;                /* how the reference turned; no knots where not known */
    lay_order_spectrum spectrum;    /* in digital full scale */
    lay_envelope_spectrum envelope; /* no bands: none could be had, `warnings` says why */
    double *fixed_hz;               /* tones that stay at one frequency while speed moves, Hz */
    size_t fixed_hz_count;
    lay_text warnings; /* one sentence per line */
} lay_run_evidence;
LAY_API void lay_run_evidence_free(lay_run_evidence *run);

/* lay_level_db with the run's own calibration; NaN when power is not above 0. */
LAY_API double lay_run_level_db(const lay_run_evidence *run, double power);

/* What stands at one order of a run, line or not. */
typedef struct lay_tone {
    bool valid;            /* the order lies inside the spectrum and below Nyquist */
    double power;          /* mean square of the tone, floor taken off */
    double tnr_db;         /* tone-to-noise ratio of the run's mean, ECMA-418-1; -40 at least */
    double steady_tnr_db;  /* median over the speed classes: one resonance does not lift it */
    double above_floor_db; /* peak bin over floor */
    double significance;   /* -log10 of the chance of such a peak in noise */
    double hz;
    double found;  /* order of the line's centre */
    double off_sd; /* distance of its centre from `order`, in the uncertainty of line and speed together */
    bool fixed;    /* a tone fixed in Hz passes here */
} lay_tone;
/* `slack`: extra relative tolerance on the order beyond what the speed leaves open (bearing slip), usually 0. */
LAY_API void lay_tone_at(const lay_run_evidence *run, double order, double slack, lay_tone *out);

/* False for a run whose speed was sought in the recording and not surely found: what its lines and blows keep step with
 * is not known, so they speak neither for nor against a part. */
LAY_API bool lay_run_trusted(const lay_run_evidence *run);

/* The engine among the expected parts of the run, borrowed; NULL when there is none, or it does not turn. */
LAY_API const lay_expected *lay_run_engine(const lay_run_evidence *run);

/* Power at `order` that the engine's own orders would make there by their neighbours' strength; 0 without an engine or
 * away from its orders. */
LAY_API double lay_engine_share(const lay_run_evidence *run, double order);

/* True when `order` is, as closely as lines can be placed, a half or whole order of an engine that can be heard in this
 * run. */
LAY_API bool lay_engine_order(const lay_run_evidence *run, double order);

/* Half-width in orders within which a line at `order` counts as being at the expected place. */
LAY_API double lay_order_tolerance(const lay_run_evidence *run, double order);

typedef struct lay_analysis_options {
    double max_order;  /* 0: from the unit and the recording */
    double resolution; /* 0: what the unit needs, limited by the length */
    int threads;       /* runs of a job read side by side; 0: one per processor */
} lay_analysis_options;

/* Read one recording and collect its evidence (options may be NULL). A recording that opens but cannot be used gives
 * usable = false and warnings, not an error; an unknown gear name, tach channel, channel or body in the row is
 * LAY_BAD_INPUT at the table's line. */
LAY_API lay_status lay_run_analyse(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                   const lay_analysis_options *options, lay_run_evidence *out, lay_error *err);

/* How the shaft turned in one run, and nothing else. */
typedef struct lay_run_speed {
    bool found;               /* false: `warnings` says why; the shaft is empty then */
    lay_shaft shaft;          /* of the reference */
    int gear;                 /* as given or found; -1 unknown */
    double *gear_probability; /* [unit->gear_count] where the table gives no gear and one was sought, else NULL */
    double duration_s;
    lay_text warnings; /* one sentence per line */
} lay_run_speed;
LAY_API void lay_run_speed_free(lay_run_speed *speed);
/* Read one recording for its speed as lay_run_analyse does: tach, else rpm log, else stated rpm, range or road speed,
 * else the recording alone. Errors as there. */
LAY_API lay_status lay_run_find_speed(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                      lay_run_speed *out, lay_error *err);

/* Read one recording for the spectra over time of its first analysed channel; options->rate is taken from the
 * recording. Errors as with lay_run_analyse. */
LAY_API lay_status lay_run_spectrogram(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                       const lay_stft_options *options, lay_spectrogram *out, lay_error *err);

/* Explain every line of the run by the families of `unit` in its gear; fills claims. Called by lay_run_analyse, and
 * again when `fixed_hz` has changed. */
LAY_API void lay_run_explain(const lay_unit *unit, lay_run_evidence *run);

/* ---- repeated impacts in one run ---- */

/* The run's envelope spectra in dB over their floor, with what is locked to a shaft or to the engine taken off: at
 * every whole multiple of their turns only what stands above its neighbours in the same series is left. */
typedef struct lay_strikes lay_strikes;
/* Borrowed: `run` must outlive it. *out stays NULL for a run without envelope spectra. */
LAY_API lay_status lay_strikes_new(const lay_run_evidence *run, lay_strikes **out, lay_error *err);
LAY_API void lay_strikes_free(lay_strikes *strikes);

/* What is looked for: a series of lines at the multiples of one order. */
typedef enum lay_strike_series {
    LAY_STRIKE_RING,  /* blows of a ring or an element: three multiples, the first weighing most */
    LAY_STRIKE_CAGE,  /* once per turn of a cage: eight multiples, all alike */
    LAY_STRIKE_SWING, /* load that swings once per turn of a cage: three multiples, the ones after them weaker */
    LAY_STRIKE_LOCKED /* once per turn of a body, exactly: sixteen multiples, most of which must be there */
} lay_strike_series;

#define LAY_STRIKE_LINES 16
#define LAY_STRIKE_RING_LINES 3
#define LAY_STRIKE_WEIGHTS 2.2 /* sum of the weights of a ring's series */
/* Weight of line `k`, 1 to LAY_STRIKE_RING_LINES, of a ring's series; 0 beyond. */
LAY_API double lay_strike_weight(int k);

typedef struct lay_strike {
    bool valid;   /* the order can be told from standstill and lies inside the spectra */
    double score; /* how plainly the series stands there, in dB: the sum of its weighted levels (ring) or the level of
                   * most of its lines */
    double elsewhere; /* the score that orders around it reach, though no part makes them */
    int band;         /* of the envelope spectra */
    double slip;      /* found order over the expected one, less 1 */
    int lines;        /* that lie inside the spectra */
    double
        level_db[LAY_STRIKE_LINES]; /* over the floor, what others explain taken off; NaN where the engine covers it */
    double side_db; /* mean level of the neighbours of the first two lines at a distance of `side`; 0: none asked for */
} lay_strike;

/* What is left of a level over the floor, dB, when another source makes `made` of it; powers add. 0 at least. */
LAY_API double lay_strike_rest(double level, double made);

/* Bands in which strikes are looked for, counted from the first of them on, which is band lay_strikes_first_band of the
 * envelope spectra. */
LAY_API size_t lay_strikes_first_band(const lay_strikes *strikes);
LAY_API size_t lay_strikes_band_count(const lay_strikes *strikes);

/* Scores of a series of `order` in every band and at `points` slips from `low` on, `step` apart:
 * out[band * points + point]. False, and zeros, where the order cannot be looked for. Exact series have one point. */
LAY_API bool lay_strike_scores(const lay_strikes *strikes, lay_strike_series series, double order, double low,
                               double step, size_t points, float *out);
/* The series in one band (counted as above) at one slip. `side`: distance of the sidebands looked at, 0 none. */
LAY_API void lay_strike_at(const lay_strikes *strikes, lay_strike_series series, double order, double slip, size_t band,
                           double side, lay_strike *out);

/* ---- reading a run again ---- */

/* The analysed channels of a run as they are in the recording, in full scale. */
typedef struct lay_run_stream lay_run_stream;
LAY_API lay_status lay_run_stream_open(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                       lay_run_stream **out, lay_error *err);
LAY_API double lay_run_stream_rate(const lay_run_stream *stream);
LAY_API int lay_run_stream_channels(const lay_run_stream *stream);
/* Up to `frames` frames into out[frames * channels], what is no finite number as 0; *got < frames only at the end. */
LAY_API lay_status lay_run_stream_read(lay_run_stream *stream, double *out, size_t frames, size_t *got, lay_error *err);
LAY_API void lay_run_stream_close(lay_run_stream *stream); /* NULL allowed */
/* Hand the rest of the run to `take` in blocks; its error ends it. */
typedef lay_status (*lay_run_take)(const double *frames, size_t count, void *user, lay_error *err);
LAY_API lay_status lay_run_stream_each(lay_run_stream *stream, lay_run_take take, void *user, lay_error *err);

/* ---- the orders of one part ---- */

#define LAY_PART_ORDERS_MAX 64

/* What a part can be heard at in a run. */
typedef struct lay_part_order {
    double order;          /* per turn of the reference */
    int harmonic;          /* of the part's base order */
    int sideband;          /* turns of `body` away from it, signed */
    int body;              /* -1 none */
    double above_floor_db; /* of the line that stands there in this run; NaN: none */
    const char *shared;    /* name of another part that may make what stands at this order as well and cannot be told
                            * apart from it, borrowed from the unit; NULL: none, or nothing stands there */
} lay_part_order;

typedef struct lay_part_orders {
    lay_part_order items[LAY_PART_ORDERS_MAX];
    size_t count;
    const lay_expected *part; /* borrowed from the run; NULL: a body or a single order */
    int body;                 /* that was named instead of a part; -1 */
} lay_part_orders;

/* The orders of `name`, in any case: of a mesh or the axle the first harmonics, further ones and sidebands of both
 * wheels where a line stands; of the engine its firing orders and what lines stand at others; of a rotor its orders; of
 * a body (a wheel or shaft, with all that turns with it) low multiples of its turn, its sidebands on meshes and its
 * ghost orders where a line stands. A part goes before a body of the same name. Strongest first where lines stand, the
 * rest by order. LAY_BAD_INPUT for an unknown name (with the nearest), a bearing (it strikes, see lay_run_ring_band), a
 * part that does not turn in this gear, a run without speed. */
LAY_API lay_status lay_run_part_orders(const lay_unit *unit, const lay_run_evidence *run, const char *name,
                                       lay_part_orders *out, lay_error *err);

/* ---- order cuts: the level of an order against speed ---- */

typedef struct lay_cut {
    double order;
    size_t count;    /* speeds at which it was measured, rising */
    double *hz;      /* [count] of the reference */
    double *power;   /* [count] mean square of the order there, in full scale, sum over channels */
    double *floor;   /* [count] what noise alone leaves in the filter there */
    double *seconds; /* [count] measured */
} lay_cut;
LAY_API void lay_cuts_free(lay_cut *cuts, size_t count); /* frees what the cuts hold and `cuts` itself */

/* Follow `orders` [count] through the run by Vold-Kalman filters and average them in `classes` (0: chosen from the
 * length) equal steps of speed; steps that hold less than a filter's length are left out, a steady run gives one.
 * Caller frees *out (an array of `count`) with lay_cuts_free. */
LAY_API lay_status lay_run_cuts(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                const lay_run_evidence *run, const double *orders, size_t count, size_t classes,
                                lay_cut **out, lay_error *err);

/* ---- one part alone ---- */

/* What is taken out of a recording: orders, or (bearings, which strike) a band of frequencies. */
typedef struct lay_alone_options {
    const double *orders; /* [order_count] */
    size_t order_count;
    double width;           /* of each order, in orders, -3 dB; 0: lay_alone_width */
    double low_hz, high_hz; /* of the band; used when order_count is 0 */
} lay_alone_options;

/* The part, and the recording without it: part + rest is the recording, frame by frame. Borrowed, interleaved, full
 * scale. */
typedef lay_status (*lay_alone_sink)(const double *part, const double *rest, size_t frames, void *user, lay_error *err);

/* Read a run again and part it. Orders are followed by a Vold-Kalman filter together with the run's other lines so near
 * that they would leak; where the shaft's angle is not known, nothing of an order is taken. A band is taken by a
 * linear-phase filter without delay. An error of the sink ends it. LAY_BAD_INPUT for a run without speed, orders above
 * half the rate, a band that the recording does not hold. */
LAY_API lay_status lay_run_alone(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                 const lay_run_evidence *run, const lay_alone_options *options, lay_alone_sink sink,
                                 void *user, lay_error *err);
/* Width of an order, in orders, with which the sidebands of every body of the run stay apart. */
LAY_API double lay_run_order_width(const lay_run_evidence *run);
/* The width that lay_run_alone chooses for 0: the same, or narrower where another part makes nearly one of these orders
 * or a louder line stands close. */
LAY_API double lay_alone_width(const lay_run_evidence *run, const double *orders, size_t count);

/* Where a bearing can be heard in a run. */
typedef struct lay_ring_band {
    double low_hz, high_hz; /* the band in which the blows of its rings or elements stand out most */
    double order;           /* of these blows as the unit file gives it */
    double clear_db; /* score of their series (see lay_strike) over what orders around reach in the same search */
    bool blows;      /* they do stand out; false: the band is a guess */
} lay_ring_band;
/* False where none of its orders can be looked for. One run alone never settles whether a bearing strikes; that is what
 * lay_diagnose says of all runs. */
LAY_API bool lay_run_ring_band(const lay_run_evidence *run, const lay_expected *bearing, lay_ring_band *out);

/* What is to be taken so that one part is heard. It points into itself: never copy it. */
typedef struct lay_alone_choice {
    const char *name;       /* as the unit file spells it, borrowed; NULL: a single order */
    lay_part_orders orders; /* count 0: a band */
    lay_ring_band ring;     /* the band */
    double values[LAY_PART_ORDERS_MAX];
    lay_alone_options options;
} lay_alone_choice;
/* Of a bearing the band in which its blows ring, else the orders of the part or body. Errors as with
 * lay_run_part_orders; LAY_BAD_INPUT too where a bearing stands still or cannot be looked for. */
LAY_API lay_status lay_alone_choose(const lay_unit *unit, const lay_run_evidence *run, const char *name,
                                    lay_alone_choice *out, lay_error *err);
/* Make the options of `choice->orders`; `width` as in lay_alone_options. */
LAY_API void lay_alone_take_orders(const lay_run_evidence *run, double width, lay_alone_choice *choice);

/* Read a run again for an order map with `rows` steps of speed (see lay_order_spectrum), finer in speed and coarser in
 * order than the one the verdict rests on: to look at. LAY_BAD_INPUT for a run without speed. */
LAY_API lay_status lay_run_order_map(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                     const lay_run_evidence *run, int rows, double resolution, double max_order,
                                     lay_order_spectrum *out, lay_error *err);

/* ---- how loud each part was, look by look ---- */

/* One line of a part's family. */
typedef struct lay_level_line {
    int part;     /* index into lay_run_evidence.expected */
    int harmonic; /* of its base order; rotors: number of the order in its list, from 1 */
    int sideband; /* turns of the wheel away, signed; 0 none */
    int wheel;    /* whose: 0 driver, 1 driven; -1 none */
    double order;
    int owner;    /* another part that what stands there is more likely of; -1 none */
    bool crowded; /* something else stands so near that the line cannot be measured apart from it */
    double bins;  /* independent values that the bins taken for it make */
} lay_level_line;

/* The lines of all parts that make tones, measured over and over in short looks. */
typedef struct lay_levels {
    lay_level_line *lines; /* [line_count] meshes and axle: harmonics, and sidebands of both wheels; rotors; engine:
                            * firing orders */
    size_t line_count;
    double turns;    /* of the reference in a look; the next begins 8 turns later */
    size_t looks;    /* in order of time; neighbours are put together where there are more than 1024 */
    double *hz;      /* [looks] turns/s of the reference */
    double *seconds; /* [looks] of recording that a look adds */
    double *ground;  /* [looks] noise between the lines, 500 to 5000 Hz: full scale^2 per Hz, on a scale of its own */
    double *power, *noise; /* [looks * line_count] mean square of the line, noise taken off (may be below 0), and of the
                            * noise that was; NaN where the recording does not hold the order at that speed
                            * or a tone fixed in Hz passes it */
    double averages; /* independent values behind a look: channels, by how evenly they share the power, less what looks
                        have in common */
} lay_levels;
LAY_API void lay_levels_free(lay_levels *levels);

/* Read a run again and measure. The look is as long as it takes to keep the lines apart, 16 to 64 turns. LAY_BAD_INPUT
 * for a run without speed. */
LAY_API lay_status lay_run_levels(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                  const lay_run_evidence *run, lay_levels *out, lay_error *err);

/* ---- while it runs ---- */

/* The parts of a unit in one gear, watched live: the last half second of sound, or six turns where those take longer,
 * as an order spectrum, over and over. */
typedef struct lay_monitor lay_monitor;

typedef struct lay_monitor_options {
    const lay_unit *unit;
    int gear;
    const lay_run_spec *spec; /* channels, tach, full scale and speed as in a row of the table; the speed is the tach's,
                               * else the stated one made exact on the sound, else sought in the sound */
    double rate;
    int channels;           /* as they are fed */
    const lay_shaft *known; /* the speed itself, of a recording that was analysed; borrowed, NULL: found as said */
} lay_monitor_options;

typedef struct lay_monitor_row {
    const lay_expected *part;
    double order, hz; /* its base order, and where that lies now */
    bool blows;       /* a bearing, which makes no tones: `power` tells how plainly blows stand at its rates, as a ratio
                       * to even noise, which is 1 to 2; looked at once a second over four, 0 before */
    double power;     /* mean square at its orders, in full scale of the first channel; all channels together */
    double floor;     /* what the noise around would leave there; 1 for blows */
    double engine; /* orders to the nearest strong line of the engine, infinite where there is none: nearer than three
                    * steps its lines are what is heard */
    double near;   /* orders to the next part's base order; below lay_monitor_view.step * 3 they are not told apart */
} lay_monitor_row;

typedef struct lay_monitor_view {
    double at_s; /* end of what is looked at, since the start */
    bool known;  /* the speed; else `rows` show nothing and `trouble` says why */
    double hz;   /* turns/s of the reference, mean over what is looked at */
    double min_hz, max_hz;
    double confidence; /* in the speed, 0..1; below 0.5 another one may be as good */
    lay_speed_source source;
    lay_tach_look tach; /* with a tach */
    const char *trouble;
    const lay_monitor_row *rows; /* parts that turn, in the order of the unit file */
    size_t count;
    const double *power; /* [bins] order spectrum, bin i at i * step */
    size_t bins;
    double step;
} lay_monitor_view;

/* Borrowed: unit and spec. LAY_BAD_INPUT where the row does not fit the unit or the channels. Free with
 * lay_monitor_free (NULL allowed). */
LAY_API lay_status lay_monitor_new(const lay_monitor_options *options, lay_monitor **out, lay_error *err);
LAY_API void lay_monitor_free(lay_monitor *monitor);
/* Frames as they come, interleaved, full scale = 1. */
LAY_API void lay_monitor_feed(lay_monitor *monitor, const double *frames, size_t count);
/* How it stands. What `view` points at lasts until the next look. Costs a few milliseconds a channel; more, up to a
 * second, when the speed is sought anew. */
LAY_API lay_status lay_monitor_look(lay_monitor *monitor, lay_monitor_view *view, lay_error *err);

#endif
