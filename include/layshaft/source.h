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
    int tach_body; /* body the tach looks at; -1 the reference itself, or no tach */
    double speed_confidence, speed_correction, mean_hz, min_hz, max_hz, revolutions;
    lay_order_spectrum spectrum; /* in digital full scale */
    double *fixed_hz;            /* tones that stay at one frequency while speed moves, Hz */
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
/* Read one recording for its speed as lay_run_analyse does: tach, else rpm log, else stated rpm, range or road speed, else
 * the recording alone. Errors as there. */
LAY_API lay_status lay_run_find_speed(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                      lay_run_speed *out, lay_error *err);

/* Read one recording for the spectra over time of its first analysed channel; options->rate is taken from the recording.
 * Errors as with lay_run_analyse. */
LAY_API lay_status lay_run_spectrogram(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                                       const lay_stft_options *options, lay_spectrogram *out, lay_error *err);

/* Explain every line of the run by the families of `unit` in its gear; fills claims. Called by lay_run_analyse, and
 * again when `fixed_hz` has changed. */
LAY_API void lay_run_explain(const lay_unit *unit, lay_run_evidence *run);

#endif
