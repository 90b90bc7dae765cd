/* What the runs of a job mean together. */
#ifndef LAYSHAFT_JUDGE_H
#define LAYSHAFT_JUDGE_H

#include <layshaft/source.h>

typedef enum lay_outcome { LAY_ATTENTION, LAY_OUTSIDE, LAY_CLEAR, LAY_INCONCLUSIVE } lay_outcome;
LAY_API const char *lay_outcome_name(lay_outcome outcome); /* "attention", ... */

typedef enum lay_kind {
    LAY_KIND_MESH,
    LAY_KIND_ECCENTRIC,
    LAY_KIND_CHIP,
    LAY_KIND_GHOST,
    LAY_KIND_OUTER,
    LAY_KIND_INNER,
    LAY_KIND_ELEMENT,
    LAY_KIND_CAGE,
    LAY_KIND_OUTSIDE,
    LAY_KIND_COUNT
} lay_kind;
LAY_API const char *lay_kind_name(lay_kind kind); /* "mesh", "eccentric", ... */

/* A list of owned strings. */
typedef struct lay_strings {
    char **items;
    size_t count, capacity;
} lay_strings;
LAY_API lay_status lay_strings_add(lay_strings *list, lay_error *err, const char *fmt, ...) LAY_PRINTF(3, 4);
LAY_API void lay_strings_free(lay_strings *list);

/* How a fault that strikes shows in the envelope of its best run. */
typedef struct lay_blows {
    int lines;        /* multiples of the order that were measured; 0: the fault makes a tone, not blows */
    double order, hz; /* of the blows, at mean speed */
    double slip;      /* found order over the expected one, less 1 */
    double level_db[LAY_STRIKE_LINES]; /* of the multiples over the floor of the envelope spectrum; NaN: covered */
    double swing_order, side_db; /* what swings the size of the blows, and the level of the sidebands that makes */
    int band;                    /* of the run's envelope spectra */
    double low_hz, high_hz;      /* that rings */
    double angle; /* chip: turns of the wheel from the tach's pulse to the blow, 0..1; NaN without a pulse per turn on
                     it */
} lay_blows;

/* What the blows of a bearing are counted by: a ring that turns while the other stands, one ring against the other, or
 * the reference (`cage`: a cage follows both rings, each by its share). Names are borrowed from the unit; `against` may
 * be NULL; order 0: the bearing stands. */
typedef struct lay_turner {
    double order; /* turns per turn of the reference */
    const char *body, *against;
} lay_turner;
LAY_API lay_turner lay_bearing_turner(const lay_unit *unit, const lay_expected *bearing, bool cage);

/* ---- what is wrong with a suspect ---- */

/* What a closer look at a mesh may find. None is proof by itself; together they say what to expect inside. */
typedef enum lay_symptom_kind {
    LAY_SYMPTOM_RUN_OUT,   /* the mesh tone swells and swings once per turn of a wheel */
    LAY_SYMPTOM_LOCAL,     /* one place on the turn of a wheel differs from all others */
    LAY_SYMPTOM_TWICE,     /* twice per turn: a wheel that sits askew, misaligned shafts */
    LAY_SYMPTOM_LOOSE,     /* many sidebands, half orders: play */
    LAY_SYMPTOM_HARMONICS, /* the multiples of the mesh rise over its first order: worn profile */
    LAY_SYMPTOM_MATES,     /* it repeats with the pairing of the teeth: wheels that did not run in together */
    LAY_SYMPTOM_FLANK,     /* it sings on one flank, or on both alike */
    LAY_SYMPTOM_RESONANCE, /* loud where the structure answers, not where the mesh excites most */
    LAY_SYMPTOM_COUNT
} lay_symptom_kind;
LAY_API const char *lay_symptom_name(lay_symptom_kind kind); /* "flank", "run-out", ... */

typedef struct lay_symptom {
    lay_symptom_kind kind;
    char *text;   /* a sentence in a mechanic's words */
    char *body;   /* wheel it is about; NULL: the mesh as a whole */
    double value; /* dB; run-out: depth of the swell, 0..1; local: turns of the wheel to the place, 0..1 */
    double sure;  /* probability that it is there, not an accident of this recording */
    int run;      /* index of the run that shows it best */
} lay_symptom;

typedef struct lay_suspect {
    char *part; /* the section's own name; NULL: outside, source unknown */
    lay_kind kind;
    char *body; /* the wheel's body, NULL when the whole part is meant */
    double probability;
    double level_db; /* strongest line in the run that shows it best; blows: of the band that rings */
    lay_quantity quantity;
    double above_floor_db, prominence_db; /* prominence: tone-to-noise ratio; blows: strongest line of the envelope
                                           * spectrum over its floor, and the mean of the first three */
    bool audible;                         /* as a tone */
    lay_blows blows;
    int best_run; /* index of that run */
    lay_strings reasons, checks, not_separable_from;
    lay_symptom *symptoms; /* [symptom_count] by lay_look_closer, in the order of their kinds */
    size_t symptom_count;
} lay_suspect;

/* Something strikes in step with a body, and nothing in the unit file does so. */
typedef struct lay_stranger {
    bool found;
    int body;
    double times; /* blows per turn of the body */
    double probability;
    int runs, best_run;
    double order, hz;       /* in that run */
    double height_db;       /* of its strongest line over the floor of the envelope spectrum */
    double low_hz, high_hz; /* of the band that rings */
} lay_stranger;

/* What the recordings say of one part of the transmission. */
typedef enum lay_part_state {
    LAY_STATE_SUSPECT,  /* it is named */
    LAY_STATE_OPEN,     /* neither accused nor cleared */
    LAY_STATE_UNTESTED, /* no recording puts it to the test */
    LAY_STATE_CLEARED,  /* put to the test, and nothing speaks against it */
    LAY_STATE_COUNT
} lay_part_state;
LAY_API const char *lay_part_state_name(lay_part_state state); /* "suspect", "open", "untested", "cleared" */

typedef struct lay_part_finding {
    const char *part; /* mesh or bearing, borrowed from the unit */
    lay_part_type type;
    double probability; /* that any fault of it is there */
    lay_part_state state;
    char *why; /* one phrase */
} lay_part_finding;

typedef struct lay_verdict {
    lay_outcome outcome;
    char *summary;
    lay_stranger stranger;
    lay_suspect *suspects;
    size_t suspect_count;
    lay_part_finding *parts; /* [part_count] meshes, then bearings, in the order of the unit file */
    size_t part_count;
    lay_strings add; /* recordings that would settle it */
} lay_verdict;

/* ---- order or resonance ---- */

/* A frequency at which the case, the vehicle or the sensor's mounting answers, whichever order passes it. */
typedef struct lay_resonance {
    double hz, sd_hz; /* and how well it is known */
    double gain_db;   /* of the answer there over the answer around it */
    double width_hz;  /* between the points 3 dB below */
    int orders;       /* that peak there */
} lay_resonance;

/* Orders against speed parted into what excites and how the structure answers:
 * level of order o at speed s = excitation of o + slope of o * 10 lg s + answer at o * s (derived here). */
typedef struct lay_response {
    size_t points;             /* of the answer, evenly spaced in log frequency */
    double low_hz, step;       /* point i lies at low_hz * exp(i * step) */
    double *answer_db;         /* [points] mean 0; NaN: no order passed there */
    double *sd_db;             /* [points] */
    lay_resonance *resonances; /* [resonance_count] highest gain first */
    size_t resonance_count;
    double *excitation_db; /* [cut_count] of each cut at the mean speed, answer taken off */
    double *slope;         /* [cut_count] power of the speed (2: level rises by 20 dB per decade) */
    double residual_db;    /* rms of what is left */
} lay_response;
LAY_API void lay_response_free(lay_response *response);
/* `cuts` may come from several runs made with the same sensor at the same place; those at which an order stands less
 * than 6 dB over the floor are left out point by point. *found is false, and nothing is claimed, when no frequency is
 * passed by at least two orders, or too little speed was covered. */
LAY_API lay_status lay_response_find(const lay_cut *cuts, size_t cut_count, lay_response *out, bool *found,
                                     lay_error *err);

/* ---- the closer look ---- */

/* Whose order a cut follows. */
typedef struct lay_look_order {
    int run;      /* index of the run it was taken from */
    int suspect;  /* index in the verdict, -1: another loud line, followed for the sake of the structure's answer */
    int harmonic; /* of the suspect's mesh */
} lay_look_order;

#define LAY_LOOK_TEETH 8

/* A wheel of a suspect over its turn, in the steadiest run that loads it as the best one does. */
typedef struct lay_look_wheel {
    int suspect, wheel, body; /* wheel: 0 driver, 1 driven; body: index in the unit */
    int run;
    int teeth[LAY_LOOK_TEETH]; /* [mesh_count] of every wheel that turns with it, its own first */
    size_t mesh_count;
    bool from_tach; /* point 0 is the tach's pulse on this very wheel; else only distances mean something */
    lay_tsa_average average;
    size_t channel; /* of the average that holds most of the mesh; what follows is of this one */
    lay_gear_signals signals;
    lay_condition condition;
    double agree; /* share of the parts of the run whose own worst_turn lies within a tooth of the whole's; NaN without
                   * parts */
} lay_look_wheel;

/* The mesh of a suspect over one repeat of its pairing of teeth: lcm of the tooth counts meshes. */
typedef struct lay_look_pair {
    int suspect, run;
    int repeat; /* meshes in it */
    lay_tsa_average average;
    size_t channel; /* that holds most of the mesh */
} lay_look_pair;

/* What a further reading of the recordings measured about the suspects. */
typedef struct lay_look {
    lay_cut *cuts;          /* [cut_count] */
    lay_look_order *orders; /* [cut_count] */
    size_t cut_count;
    bool answered; /* `response` could be had */
    lay_response response;
    lay_look_wheel *wheels; /* [wheel_count] */
    size_t wheel_count;
    lay_look_pair *pairs; /* [pair_count]; none where the run holds too few repeats */
    size_t pair_count;
} lay_look;
LAY_API void lay_look_free(lay_look *look);

typedef struct lay_diagnosis {
    lay_verdict verdict;
    lay_run_evidence *runs; /* [run_count], one per row of the table */
    size_t run_count;
    lay_look look; /* empty where no part with teeth is suspected */
} lay_diagnosis;
LAY_API void lay_diagnosis_free(lay_diagnosis *d);

/* The only place that knows the whole road: analyse every row of `table`, runs side by side, then judge them together.
 * The result is the same whatever the number of threads. */
LAY_API lay_status lay_diagnose(const lay_unit *unit, const lay_run_table *table, const lay_analysis_options *options,
                                lay_progress progress, void *user, lay_diagnosis *out, lay_error *err);

/* Judge evidence already collected (borrowed). */
LAY_API lay_status lay_judge(const lay_unit *unit, const lay_run_table *table, const lay_run_evidence *runs,
                             size_t count, lay_verdict *out, lay_error *err);
LAY_API void lay_verdict_free(lay_verdict *verdict);

/* Read the recordings once more for the suspects of `verdict` that have teeth and a probability of 0.25 or more: order
 * cuts of the runs that sweep, the structure's answer, the average turn of both wheels. Fills the suspects' symptoms. A
 * run that cannot be followed is left out; nothing found is no error. */
LAY_API lay_status lay_look_closer(const lay_unit *unit, const lay_run_table *table, const lay_run_evidence *runs,
                                   size_t count, int threads, lay_verdict *verdict, lay_look *out, lay_error *err);

/* A job folder: unit.ini and runs.csv inside it. Errors say which is missing and how to make it. */
typedef struct lay_job {
    char *folder;
    lay_unit *unit;
    lay_run_table table;
} lay_job;
LAY_API lay_status lay_job_load(const char *folder, lay_job *out, lay_error *err);
LAY_API void lay_job_free(lay_job *job);

/* ---- how loud a job was ---- */

/* Speeds are counted in bands of 3 %: band i reaches from exp(0.03 i) to exp(0.03 (i + 1)) turns/s of the reference. */
#define LAY_BAND 0.03

/* One line of a part in one gear under one load, band by band; runs of one gear and load are taken together. */
typedef struct lay_loud_line {
    const char *part; /* borrowed from the unit */
    lay_part_type type;
    int harmonic, sideband, wheel; /* as in lay_level_line */
    double order;
    double *power;    /* [bands] mean square, noise taken off, may be below 0; NaN: not measured there */
    double *variance; /* [bands] of that, as far as noise makes it */
    double *noise;    /* [bands] mean square of the noise that was taken off */
    double scatter; /* variance of the whole line's level, relative, as its course over time shows it; NaN: too short */
    bool own;       /* in the run in which it is loudest it is this part's, and nothing crowds it */
    bool outside;   /* not its own, but of something outside the box: axle, engine, rotor; nothing crowds it */
} lay_loud_line;

typedef struct lay_loud_condition {
    const char *gear; /* borrowed from the unit */
    lay_load load;
    lay_sensor sensor;
    lay_quantity quantity; /* powers are in its unit squared; LAY_FULL_SCALE: not calibrated */
    int runs, first_run;   /* how many were taken together; index of the first */
    int first_band;
    size_t bands;
    double *looks, *seconds, *ground; /* [bands]; ground: noise between the lines, as in lay_levels */
    double *hz;                       /* [bands] mean speed of the looks, turns/s; 0 without */
    lay_loud_line *lines;
    size_t line_count;
} lay_loud_condition;

typedef struct lay_loudness {
    lay_loud_condition *conditions;
    size_t count;
} lay_loudness;
LAY_API void lay_loudness_free(lay_loudness *loudness);

/* A job, analysed and measured. */
typedef struct lay_measured {
    const lay_unit *unit; /* borrowed, and the table */
    const lay_run_table *table;
    lay_run_evidence *runs; /* [run_count] */
    size_t run_count;
    lay_loudness loudness;
    lay_strings left_out; /* runs that could not be measured, a sentence each */
} lay_measured;
LAY_API void lay_measured_free(lay_measured *measured);
/* Analyse every row of `table` and measure every part that makes tones. Runs whose speed or gear is not known are left
 * out. threads: as in lay_tasks. */
LAY_API lay_status lay_measure(const lay_unit *unit, const lay_run_table *table, int threads, lay_progress progress,
                               void *user, lay_measured *out, lay_error *err);

/* ---- before and after ---- */

typedef enum lay_change_verdict { LAY_BETTER, LAY_WORSE, LAY_SAME, LAY_UNSURE, LAY_CHANGE_COUNT } lay_change_verdict;
LAY_API const char *lay_change_verdict_name(lay_change_verdict verdict); /* "better", "worse", "same", "unsure" */

/* What two recordings are held against that were not made with one calibrated sensor. */
typedef enum lay_match {
    LAY_MATCH_NONE,   /* same sensor, place and gain: levels as they are */
    LAY_MATCH_FLOOR,  /* the noise between the lines was the same */
    LAY_MATCH_ENGINE, /* the engine's firing orders were the same */
    LAY_MATCH_COUNT
} lay_match;
LAY_API const char *lay_match_name(lay_match match); /* "none", "floor", "engine" */

/* A change of level, after over before, with where it lies in 95 of 100 cases. NaN: no number; of low_db and high_db:
 * no bound on that side, because the part is in the noise once. */
typedef struct lay_change {
    double db, low_db, high_db;
    double chance;      /* of such a change, or a larger one, when nothing changed; 1 without a number */
    bool before, after; /* it stands out of the noise */
} lay_change;

/* One gear under one load that both jobs hold. */
typedef struct lay_shared {
    const char *gear; /* borrowed from the unit of the job before */
    lay_load load;
    size_t before, after;     /* index of the condition in each profile */
    double low_hz, high_hz;   /* speeds both hold, turns/s of the reference */
    double before_s, after_s; /* recorded there */
    double ground_db;         /* change of the noise between the lines */
    double shift_db;          /* taken off every change for the sake of lay_match */
} lay_shared;

typedef struct lay_line_change {
    int harmonic, sideband, wheel;
    size_t shared; /* in which condition it was loudest */
    double order_before, order_after;
    double before_db, after_db; /* level there; NaN: in the noise */
    lay_change change;
} lay_line_change;

/* A part at the shared speeds of one condition, for a picture: mean levels in dB of the job's quantity. */
typedef struct lay_change_course {
    size_t shared, count;
    double *hz, *before_db, *after_db; /* [count]; NaN: in the noise */
} lay_change_course;

typedef struct lay_part_change {
    const char *part; /* borrowed from the unit of the job after */
    lay_part_type type;
    lay_change change;
    lay_change_verdict verdict;
    char *why;                          /* one phrase */
    double before_db, after_db;         /* level where it is loudest; NaN: in the noise */
    double tnr_before_db, tnr_after_db; /* tone-to-noise ratio of its loudest line there, ECMA-418-1; NaN: none */
    double pr_before_db, pr_after_db;   /* prominence ratio likewise */
    bool audible_before, audible_after; /* as a tone, by the limits of ECMA-418-1 */
    lay_change *by_condition;           /* [shared_count] of the comparison */
    lay_line_change *lines;             /* [line_count] that stand out of the noise before or after, loudest first */
    size_t line_count;
    lay_change_course course;       /* where it is loudest; count 0: nowhere */
    lay_strings not_separable_from; /* other meshes of one of its wheels: they are measured as one */
} lay_part_change;

typedef struct lay_comparison {
    lay_change_verdict verdict;
    char *summary;
    lay_match match;
    double repeat_db;   /* deviation from run to run that was reckoned with */
    bool repeat_known;  /* these recordings tell it, else it is a usual value */
    lay_shared *shared; /* [shared_count] */
    size_t shared_count;
    lay_part_change *parts; /* [part_count] in the order of the unit file */
    size_t part_count;
    lay_strings differs; /* what else is not as it was, a sentence each */
    lay_strings missing; /* what only one of the jobs holds */
} lay_comparison;
/* Both are borrowed and must outlive the result. LAY_BAD_INPUT for two different units, no common gear under the same
 * load at the same speeds, sensors of different kinds. A change is the mean over the bands of speed both hold, each
 * band weighing alike as far as the part stands out of the noise there. Its variance: residuals of eight stretches of
 * speed, or means of a second, at least what noise leaves (chi-square); between runs the scatter that the conditions
 * show, moderated by a usual value (derived here; moderation after Smyth 2004, from memory of the work); Student's t.
 */
LAY_API lay_status lay_compare(const lay_measured *before, const lay_measured *after, lay_match match,
                               lay_comparison *out, lay_error *err);
LAY_API void lay_comparison_free(lay_comparison *comparison);

/* How a part went over several jobs of one unit. */
typedef enum lay_course { LAY_SETTLED, LAY_FALLING, LAY_RISING, LAY_COURSE_OPEN, LAY_COURSE_COUNT } lay_course;
LAY_API const char *lay_course_name(lay_course course); /* "settled", "falling", "rising", "open" */

typedef struct lay_trend_part {
    const char *part;        /* borrowed from the unit of the last job */
    lay_change *since_first; /* [job_count - 1] each job against the first */
    lay_change last;         /* the last step */
    lay_course course;       /* by the last step: settled within 2 dB, or not */
} lay_trend_part;

typedef struct lay_trend {
    size_t job_count;
    const char **names; /* [job_count] borrowed */
    lay_trend_part *parts;
    size_t part_count; /* heard in one of the comparisons at least */
} lay_trend;
/* jobs[count], count 3 and more, in order of time. Errors as with lay_compare. */
LAY_API lay_status lay_trend_find(const lay_measured *jobs, const char *const *names, size_t count, lay_match match,
                                  lay_trend *out, lay_error *err);
LAY_API void lay_trend_free(lay_trend *trend);

/* ---- good units, and a unit against them ---- */

/* Speeds of a baseline: band i reaches from 3 exp(0.06 i) to 3 exp(0.06 (i + 1)) turns/s of the reference. */
#define LAY_BASELINE_BAND 0.06
#define LAY_BASELINE_LOW_HZ 3.0
#define LAY_BASELINE_BANDS 80

/* What one unit had at one line in one band of speed. Of a bearing, in band 0: how far its blows surpass what orders
 * around reach, no noise. */
typedef struct lay_baseline_level {
    double level_db; /* tone and noise, dB of the quantity; NaN: not measured */
    double noise_db; /* the noise in it */
    double averages; /* independent means behind both */
} lay_baseline_level;

typedef struct lay_baseline_line {
    char *part;
    lay_part_type type;
    int harmonic, sideband, wheel; /* as in lay_level_line; a bearing has one, which is 1 */
    bool loaded;                   /* the part carries torque there */
    lay_baseline_level *levels;    /* [unit_capacity * LAY_BASELINE_BANDS] */
    bool *own;                     /* [unit_capacity] in that unit no other part of the box makes what stands there */
} lay_baseline_line;

typedef struct lay_baseline_condition {
    char *gear;
    lay_load load;
    lay_baseline_line *lines;
    size_t line_count, line_capacity;
} lay_baseline_condition;

typedef struct lay_baseline_mesh {
    char *name;
    int driver, driven; /* teeth */
} lay_baseline_mesh;

/* What good units of one build sound like in one mounting. */
typedef struct lay_baseline {
    char *unit; /* name */
    lay_sensor sensor;
    lay_quantity quantity;
    lay_baseline_mesh *meshes;
    size_t mesh_count;
    char **units; /* [unit_count] names of the jobs */
    size_t unit_count, unit_capacity;
    lay_baseline_condition *conditions;
    size_t condition_count, condition_capacity;
} lay_baseline;
LAY_API lay_baseline *lay_baseline_new(void); /* NULL without memory */
LAY_API void lay_baseline_free(lay_baseline *baseline);
/* LAY_BAD_INPUT when the job does not fit: another unit, other teeth, another kind of sensor, calibrated or not. An
 * empty baseline takes over what the first job is. */
LAY_API lay_status lay_baseline_fits(const lay_baseline *baseline, const lay_measured *job, lay_error *err);
/* Add a job under `name`; one of that name must not be in it yet. */
LAY_API lay_status lay_baseline_add(lay_baseline *baseline, const lay_measured *job, const char *name, lay_error *err);
/* Places for what is read from a file; existing ones are found again. NULL without memory. */
LAY_API lay_baseline_condition *lay_baseline_condition_at(lay_baseline *baseline, const char *gear, lay_load load,
                                                          lay_error *err);
LAY_API lay_baseline_line *lay_baseline_line_at(lay_baseline *baseline, lay_baseline_condition *condition,
                                                const lay_baseline_line *like, lay_error *err);
/* Room for one unit more, all unknown. */
LAY_API lay_status lay_baseline_grow(lay_baseline *baseline, const char *name, lay_error *err);
/* Mean square of the tone alone, below 0 where noise is louder than usual, and its deviation while there is none; NaN
 * where nothing was measured. */
LAY_API double lay_baseline_tone(const lay_baseline_level *level);
LAY_API double lay_baseline_doubt(const lay_baseline_level *level);
/* Fewest units that limits can be had from, and how many make them sharp. */
#define LAY_BASELINE_LEAST 3
#define LAY_BASELINE_ENOUGH 10

/* What is held against a limit: the rise of a part, or of some of its lines, over the mean of the good units. */
typedef struct lay_limit {
    const char *part; /* borrowed from the baseline */
    lay_part_type type;
    int harmonic;     /* 0: all its lines; -1: sidebands of the driver, -2: of the driven wheel */
    int condition;    /* -1: the mean over all that hold it */
    int units;        /* behind it */
    double spread_db; /* deviation from unit to unit, moderated by that of all limits of its kind */
    double dof;       /* of that */
    double limit_db;  /* tolerance factor * spread */
} lay_limit;

typedef struct lay_limits {
    lay_limit *items;
    size_t count;
    double *rise_db; /* [count * unit_count] of every unit of the baseline; NaN: not measured */
    bool *used;      /* [unit_count] false: it stands out so much that it was left out as no good unit */
    char **odd;      /* [unit_count] what stands out in a unit that was left out; NULL for the others */
    size_t unit_count, used_count;
    double median_db; /* half of the limits of whole parts lie below */
} lay_limits;
/* Tolerance factors are one-sided prediction limits of the normal distribution, t * sqrt(1 + 1/n), set so that a good
 * unit surpasses any of them in less than 2 of 100 jobs; the spread is moderated over all limits of a kind (Smyth 2004,
 * from memory of the work). A unit that fails against all others by more than 1 dB is left out and named, the worst
 * first, one in four at most. LAY_BAD_INPUT for fewer units than LAY_BASELINE_LEAST. */
LAY_API lay_status lay_limits_find(const lay_baseline *baseline, lay_limits *out, lay_error *err);
LAY_API void lay_limits_free(lay_limits *limits);

/* One part of a job against its limits. */
typedef struct lay_verified_part {
    const char *part; /* borrowed from the baseline, or the table of limits */
    lay_part_type type;
    bool pass, tested;
    double margin_db;         /* limit less rise, of the limit it comes nearest to or surpasses most; NaN: not tested */
    double rise_db, limit_db; /* of that one; by hand: level and limit */
    char *where;              /* what that one is about, or why it is not tested */
} lay_verified_part;

typedef struct lay_verification {
    bool pass;   /* every part is tested and passes */
    bool tested; /* every part is tested */
    char *summary;
    bool by_hand;     /* limits from a table */
    size_t units;     /* good units behind the limits */
    double median_db; /* as in lay_limits */
    lay_verified_part *parts;
    size_t part_count;
    lay_strings missing; /* what the baseline holds and the job does not, a sentence each */
    lay_strings odd;     /* units of the baseline that were left out, a sentence each */
} lay_verification;
/* A part is tested when every condition of the baseline in which it carries torque was recorded over 60 % of its bands
 * at least. LAY_BAD_INPUT as with lay_baseline_fits and lay_limits_find. */
LAY_API lay_status lay_verify(const lay_baseline *baseline, const lay_measured *job, lay_verification *out,
                              lay_error *err);
/* The same against limits by hand: levels are means over the speeds recorded in a gear under a load. */
LAY_API lay_status lay_verify_by_hand(const lay_limit_table *limits, const lay_measured *job, lay_verification *out,
                                      lay_error *err);
LAY_API void lay_verification_free(lay_verification *verification);

/* ---- watching ---- */

/* How loud each part was, by speed, in sound that was good. */
typedef struct lay_watch_baseline lay_watch_baseline;
LAY_API lay_watch_baseline *lay_watch_baseline_new(void); /* NULL without memory */
LAY_API void lay_watch_baseline_free(lay_watch_baseline *baseline);
/* Learn from one look; levels are those of `spec`. Looks without a known speed teach nothing. */
LAY_API lay_status lay_watch_learn(lay_watch_baseline *baseline, const lay_monitor_view *view, const lay_run_spec *spec,
                                   lay_error *err);
/* Level of a part at a speed: mean of the looks within 5 % of it, and their standard deviation; false when there are
 * fewer than three. */
LAY_API bool lay_watch_expects(const lay_watch_baseline *baseline, const char *part, double hz, double *mean_db,
                               double *sd_db);

/* A part as it is watched. Levels in dB of the row's quantity; NaN where unknown. */
typedef struct lay_watch_row {
    const lay_expected *part;
    double order, hz;
    bool blows;  /* a bearing: levels are heights of its blows over even noise */
    bool vague;  /* a bearing of which only the number of elements is known: its rates may lie anywhere in a tenth,
                  * where noise alone finds something; it never alarms */
    bool engine; /* an engine line is so near that it is what is heard: nothing is compared */
    bool shared; /* another part is so near that they are not told apart */
    double now_db, above_db;      /* level, and over the noise around */
    double hold_db;               /* highest since the last reset */
    double top_db, top_s, top_hz; /* highest of all, when, at which turns/s */
    double mean_db;               /* of the power over all looks */
    double change_db;             /* now against the baseline at this speed */
    double worst_db;              /* largest change for half a second since the start */
    bool alarm;                   /* above the limit for half a second, and out of the noise */
    int alarms;                   /* how often that began */
    double alarm_s;               /* when it did first */
} lay_watch_row;

/* A moment somebody noted. */
typedef struct lay_watch_moment {
    double at_s, hz;
    size_t loudest; /* mesh that stood highest over the noise, or the highest row where no mesh stands out of it */
    double above_db;
} lay_watch_moment;

typedef struct lay_watch {
    lay_watch_row *rows;
    size_t count;
    bool known;
    double at_s, hz, confidence;
    double min_hz, mean_hz, max_hz; /* of all looks */
    size_t looks, blind, compared;  /* blind: without a speed; compared: with a baseline at that speed */
    lay_speed_source source;
    lay_watch_moment *moments;
    size_t moment_count, moment_capacity;
    const lay_run_spec *spec;           /* borrowed */
    const lay_watch_baseline *baseline; /* borrowed, NULL none */
    double limit_db;                    /* change that alarms; more where the baseline itself varies: 3 deviations */
    size_t *heard;                      /* [count] looks in which there was something to measure */
    double *sums, *over_s;              /* of powers; since when the change is above the limit */
} lay_watch;

/* Begin; the rows are those of the view. Free with lay_watch_free. */
LAY_API lay_status lay_watch_begin(const lay_monitor_view *view, const lay_run_spec *spec,
                                   const lay_watch_baseline *baseline, double limit_db, lay_watch *out, lay_error *err);
LAY_API void lay_watch_free(lay_watch *watch);
LAY_API void lay_watch_take(lay_watch *watch, const lay_monitor_view *view);
/* Forget the highest levels. */
LAY_API void lay_watch_reset(lay_watch *watch);
LAY_API lay_status lay_watch_note(lay_watch *watch, lay_error *err);

/* ---- how often the verdict was right ---- */

/* Verdicts of one kind against what was found. */
typedef struct lay_ledger_count {
    int of, right;
} lay_ledger_count;

/* What teardowns showed for one kind of finding. */
typedef struct lay_ledger_kind {
    int found;   /* parts */
    int first;   /* of them the first suspect, or not to be told from it */
    int listed;  /* named after the first */
    int cleared; /* said to have nothing against them */
} lay_ledger_kind;

#define LAY_LEDGER_BINS 3
/* Lower ends of the bins of probability: 0.9, 0.5, 0. */
LAY_API double lay_ledger_bin(size_t bin);

/* All jobs under a folder that have a found.csv. */
typedef struct lay_ledger {
    int jobs;
    lay_ledger_count attention, outside, clear; /* verdicts that what was found decides on */
    int undecided;                              /* jobs whose findings neither confirm nor refute the verdict */
    int inconclusive, unjudged;                 /* jobs whose recordings could not tell; without a verdict */
    lay_ledger_kind kinds[LAY_FOUND_COUNT];     /* LAY_FOUND_GOOD: sound parts that were looked at */
    lay_ledger_count bins[LAY_LEDGER_BINS];     /* first suspects that were looked at, by the probability they had */
    lay_strings skipped;                        /* tables that could not be read, a sentence each */
} lay_ledger;
/* Count one job; of a part that stands twice the later row holds. */
LAY_API void lay_ledger_add(lay_ledger *ledger, const lay_found_table *found);
/* Count every job in `folder` and below it, up to six folders deep; links are not followed. Tables that cannot be read
 * are skipped and told. LAY_BAD_INPUT when there is no such folder. Free with lay_ledger_free. */
LAY_API lay_status lay_ledger_read(const char *folder, lay_ledger *out, lay_error *err);
LAY_API void lay_ledger_free(lay_ledger *ledger);

/* ---- which recordings to make ---- */

/* One recording that is worth making. */
typedef struct lay_plan_item {
    int gear;      /* of the unit */
    lay_load load; /* drive, coast or none */
    bool done;     /* the job holds it already */
    bool first;    /* worth making before any other */
    char *why;     /* what it adds to those before, one sentence */
} lay_plan_item;

/* The fewest recordings (greedily chosen). First those in which any two parts that sound alike in one gear sound
 * differently or one of them stands still, every bearing turns, under torque where some gear puts it there, one gear is
 * driven and coasted, and nothing carries torque. Then those in which every mesh carries torque on either flank once.
 */
typedef struct lay_plan {
    lay_plan_item *items; /* what is done, then the first, then the rest */
    size_t count, capacity;
    size_t open, first;   /* items that are not done; of them, how many come first */
    lay_text inseparable; /* pairs of parts that no gear tells apart by their orders, a sentence a line */
} lay_plan;

/* `table` (NULL: none) tells what is recorded already, `noisy` the gear in which the noise is heard (-1: not said),
 * which is then the one that is driven and coasted. Gears that cannot be solved are left out. LAY_BAD_INPUT when no
 * gear can be. Free with lay_plan_free. */
LAY_API lay_status lay_plan_make(const lay_unit *unit, const lay_run_table *table, int noisy, lay_plan *out,
                                 lay_error *err);
LAY_API void lay_plan_free(lay_plan *plan);

#endif
