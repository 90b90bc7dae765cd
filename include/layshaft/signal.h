/* What was measured: recordings as streams, the table of runs, calibration, and what is wrong with them. */
#ifndef LAYSHAFT_SIGNAL_H
#define LAYSHAFT_SIGNAL_H

#include <layshaft/base.h>

/* ---- recordings ---- */

typedef struct lay_recording lay_recording; /* an open recording; reads forward, can be rewound */

typedef struct lay_recording_info {
    double rate; /* samples per second and channel */
    int channels;
    int64_t frames; /* samples per channel */
    bool lossy;     /* MP3, Vorbis, Opus, ... */
    bool integer;   /* integer samples: full scale is a hard wall at +-1 */
    bool truncated; /* the file ends before its header says; compressed files tell only when the end is read, and
                     * `frames` is corrected then */
} lay_recording_info;

/* Open any file libsndfile reads, or sample CSV (".csv", ".txt", ".tsv": a column named time/t/seconds gives the
 * rate, which must be even within 1 %; without one `csv_rate` must be > 0). Rates below 8 kHz are read too: the
 * caller warns. LAY_BAD_INPUT for missing, damaged, empty or unknown files; LAY_IO when it cannot be opened. */
LAY_API lay_status lay_recording_open(const char *path, double csv_rate, lay_recording **out, lay_error *err);
LAY_API void lay_recording_close(lay_recording *rec); /* NULL allowed */
LAY_API const lay_recording_info *lay_recording_get_info(const lay_recording *rec);
/* Read up to `frames` frames, interleaved, into out[frames * channels], full scale = 1; *got < frames only at the
 * end (0 = end). NaN and infinities are delivered as they are. */
LAY_API lay_status lay_recording_read(lay_recording *rec, double *out, size_t frames, size_t *got, lay_error *err);
LAY_API lay_status lay_recording_rewind(lay_recording *rec, lay_error *err);
/* The text that the file itself carries (its comment), "" when it has none; lives as long as the recording. */
LAY_API const char *lay_recording_comment(const lay_recording *rec);
/* A recording that a crash ended while it grew can hold more than its header tells, a quarter of a second at most: make
 * the header tell of all of it; *frames says how many that were, 0 when nothing was to be done. No sample is written
 * or moved. Any file may be given. */
LAY_API lay_status lay_recording_rescue(const char *path, int64_t *frames, lay_error *err);

/* ---- checks of one recording, streamed ---- */

/* Per channel; times in seconds. */
typedef struct lay_channel_check {
    double peak, rms, dc; /* in full scale; rms about dc */
    int64_t clipped;      /* samples in flat tops at the extreme value (two or more in a row), 0 when the tops may
                           * as well be the rounding of a smooth peak */
    double clip_level;    /* where they are flat, 0 when none */
    int64_t not_a_number; /* NaN, infinite or beyond 1e100; left out of everything else */
    int dropouts;         /* runs of >= 3 ms (>= 16 samples) of exactly constant value inside live signal */
    double dropout_s;     /* their total length */
    bool silent;          /* nothing above -100 dB of full scale, or constant */
    double gain_steps_db; /* largest sustained jump of the background level up or down that looks like automatic gain */
    double mains_hz, mains_db; /* strongest of 50/60 Hz hum families above the local floor, 0 when none */
} lay_channel_check;

typedef struct lay_check lay_check; /* streaming checker */
LAY_API lay_status lay_check_new(double rate, int channels, bool integer, lay_check **out, lay_error *err);
LAY_API lay_status lay_check_feed(lay_check *check, const double *frames, size_t count, lay_error *err);
/* Result per channel, `out[channels]`. May be called once, at the end. */
LAY_API lay_status lay_check_finish(lay_check *check, lay_channel_check *out, lay_error *err);
LAY_API void lay_check_free(lay_check *check);
/* Plain sentences about one channel, appended to `out` one per line ("channel 1: 214 samples are clipped: ..."), each
 * with what to do next. Nothing is appended when all is well. */
LAY_API void lay_check_describe(const lay_channel_check *check, int channel, double rate, int64_t frames,
                                lay_text *out);

/* ---- the table of runs ---- */

typedef enum lay_load {
    LAY_LOAD_UNKNOWN,
    LAY_LOAD_DRIVE,
    LAY_LOAD_COAST,
    LAY_LOAD_STEADY,
    LAY_LOAD_NONE,
    LAY_LOAD_COUNT
} lay_load;
LAY_API const char *lay_load_name(lay_load load); /* "", "drive", ... */
LAY_API bool lay_load_parse(const char *text, lay_load *out);

typedef enum lay_sensor { LAY_SENSOR_UNKNOWN, LAY_SENSOR_ACCEL, LAY_SENSOR_MIC } lay_sensor;

typedef enum lay_quantity { LAY_FULL_SCALE, LAY_ACCELERATION, LAY_PRESSURE } lay_quantity;
/* "1 um/s2", "20 uPa", "full scale" (ISO 1683). */
LAY_API const char *lay_quantity_reference(lay_quantity quantity);
/* Level offset in dB: add to 10 lg of the mean square in units of the quantity (m/s2: +120, Pa: +93.979). */
LAY_API double lay_quantity_offset_db(lay_quantity quantity);

typedef struct lay_run_spec {
    char *file; /* as the table has it */
    char *path; /* joined to the table's folder */
    char *gear; /* "" when unknown */
    lay_load load;
    double rpm_low, rpm_high; /* equal: a stated value; both 0: unknown */
    int tach_channel;         /* 1-based, 0 none */
    double pulses_per_rev;    /* default 1 */
    char *tach_on;            /* body, "" = reference */
    char *rpm_log;            /* path joined, "" none */
    double road_speed_ms;     /* m/s, as stated; 0 none */
    int *channels;            /* 1-based; empty = all but the tach */
    size_t channel_count;
    lay_sensor sensor;
    double full_scale; /* in `quantity` units; 1 when uncalibrated; of the first analysed channel */
    double *gains;     /* [gain_count] of the analysed channels in their order: full scale over the first's */
    size_t gain_count; /* 0: all are alike */
    lay_quantity quantity;
    double csv_rate; /* column rate: samples per second for CSV recordings without time; 0 none */
    char *notes;     /* unknown columns as "name=value; ..." */
    int line;        /* in the table */
} lay_run_spec;

/* Level in dB of a mean square given in digital full scale, re the reference of the run's quantity (ISO 1683):
 * 10 lg(power * full_scale^2) + lay_quantity_offset_db. A sine of peak 1 in m/s2 gives 116.99 dB re 1 um/s2. NaN when
 * `power` or full_scale is not above 0. This is the one place where powers (spectra, lines, evidence) become levels. */
LAY_API double lay_level_db(double power, const lay_run_spec *spec);

typedef struct lay_run_table {
    char *path;
    lay_run_spec *runs;
    size_t count;
} lay_run_table;

/* Read runs.csv (RFC 4180 quoting, comma or semicolon or tab separated, any case of names, BOM allowed).
 * Units accepted: m/s2, m/s^2, g (converted), Pa. Errors name line and column. */
LAY_API lay_status lay_run_table_load(const char *path, lay_run_table *out, lay_error *err);
LAY_API lay_status lay_run_table_parse(const char *text, size_t length, const char *path, lay_run_table *out,
                                       lay_error *err);
LAY_API void lay_run_table_free(lay_run_table *table);
/* A cell of a new row, by the name of its column. */
typedef struct lay_run_entry {
    const char *column, *value;
} lay_run_entry;
/* Add a row to the table at `path`, which is made when it is missing. Everything that stands there stays as it is;
 * columns that it lacks are added to its first line, and the rows before are shorter then, which means the default.
 * Atomic: a crash leaves the old table or the new one. LAY_BAD_INPUT, and nothing is written, when the table cannot be
 * read or could not be with this row; LAY_IO when it cannot be written. */
LAY_API lay_status lay_run_table_add(const char *path, const lay_run_entry *cells, size_t count, lay_error *err);
/* Whether it would be added: the same errors, and nothing is written. */
LAY_API lay_status lay_run_table_takes(const char *path, const lay_run_entry *cells, size_t count, lay_error *err);
/* One row with defaults for `file`, for commands that name recordings directly. Owned strings as in a table. */
LAY_API lay_status lay_run_spec_default(const char *file, lay_run_spec *out, lay_error *err);
LAY_API void lay_run_spec_free(lay_run_spec *run);

/* ---- calibrators ---- */

/* What a calibrator gives. */
typedef struct lay_calibrator {
    double rms; /* Pa or m/s2 */
    lay_quantity quantity;
} lay_calibrator;
/* "94" or "94 dB" (re 20 uPa), "1 Pa", "10 m/s2", "1 g"; accelerations are rms. LAY_BAD_USAGE for anything else. */
LAY_API lay_status lay_calibrator_parse(const char *text, lay_calibrator *out, lay_error *err);

/* Its tone, as it was recorded. */
typedef struct lay_calibrator_tone {
    double seconds;             /* that were measured */
    double hz, rms;             /* rms in full scale; full scale is lay_calibrator.rms / rms */
    double steady_db, drift_hz; /* largest difference between half seconds */
    double above_noise_db;      /* over everything else in the channel */
    bool clipped;
} lay_calibrator_tone;
/* Measure the tone in a channel (from 1) of a recording, its first and last half second left out: least-squares sines
 * of half a second each. LAY_BAD_INPUT when there is none that a calibration can rest on, with what to do. */
LAY_API lay_status lay_calibrator_measure(const char *path, int channel, lay_calibrator_tone *out, lay_error *err);
/* What is unusual about a tone that was measured, a sentence a line; nothing when all is well. */
LAY_API void lay_calibrator_describe(const lay_calibrator_tone *tone, lay_text *out);

/* What is known of a channel. */
typedef struct lay_calibration {
    int channel;
    double full_scale; /* in `quantity` units */
    lay_quantity quantity;
    char when[24]; /* "2026-11-27 10:12" */
} lay_calibration;
/* The calibrations in a table at `path` that were made with `device`, the newest of each channel, by channel; none when
 * the table is missing. *out is one block: free(). LAY_BAD_INPUT with file and line for a table that cannot be read. */
LAY_API lay_status lay_calibration_load(const char *path, const char *device, lay_calibration **out, size_t *count,
                                        lay_error *err);
/* Add a row to it; `c->when` is given. `tone` and `file` say what it rests on. */
LAY_API lay_status lay_calibration_add(const char *path, const char *device, const lay_calibration *c,
                                       const lay_calibrator_tone *tone, const char *file, lay_error *err);

/* ---- limits by hand ---- */

/* A row of a table of limits. */
typedef struct lay_limit_row {
    char *part;
    char *gear;      /* "" any */
    lay_load load;   /* unknown: any */
    double limit_db; /* highest level, dB of the recordings' quantity */
    int line;
} lay_limit_row;

typedef struct lay_limit_table {
    char *path;
    lay_limit_row *rows;
    size_t count, capacity;
} lay_limit_table;

/* CSV as runs.csv: columns part, limit_db, and if wanted gear and load. Errors name line and column. Free with
 * lay_limit_table_free. */
LAY_API lay_status lay_limit_table_load(const char *path, lay_limit_table *out, lay_error *err);
LAY_API lay_status lay_limit_table_parse(const char *text, size_t length, const char *path, lay_limit_table *out,
                                         lay_error *err);
LAY_API void lay_limit_table_free(lay_limit_table *table);

/* ---- what teardowns showed ---- */

/* What a part was found to be. */
typedef enum lay_found_what {
    LAY_FOUND_GOOD,    /* looked at, nothing wrong */
    LAY_FOUND_TEETH,   /* worn, pitted or scuffed, or in wrong contact */
    LAY_FOUND_RUN_OUT, /* a wheel out of true, a bent shaft */
    LAY_FOUND_CHIP,    /* a chipped or cracked tooth */
    LAY_FOUND_WAVES,   /* how the teeth were made */
    LAY_FOUND_OUTER,   /* races, elements and cage of a bearing */
    LAY_FOUND_INNER,
    LAY_FOUND_ELEMENT,
    LAY_FOUND_CAGE,
    LAY_FOUND_PLAY,    /* preload or end play out of limits */
    LAY_FOUND_OUTSIDE, /* something that is not of the transmission */
    LAY_FOUND_OTHER,
    LAY_FOUND_COUNT
} lay_found_what;
LAY_API const char *lay_found_word(lay_found_what what); /* "good", "teeth", ..., as in the table */

/* How the verdict of that time had named the part. */
typedef enum lay_named {
    LAY_NAMED_FIRST,  /* as the first suspect */
    LAY_NAMED_TWIN,   /* as one that cannot be told from the first */
    LAY_NAMED_LISTED, /* among the others */
    LAY_NAMED_NO,
    LAY_NAMED_COUNT
} lay_named;
LAY_API const char *lay_named_word(lay_named named); /* "first", "twin", "listed", "no" */

/* A part that was looked at; strings are owned by the table, "" where nothing is said. */
typedef struct lay_found {
    char *when, *part, *body, *note; /* body: the wheel of a mesh; part "": the unit as a whole */
    lay_found_what what;
    char *outcome; /* of the verdict: "attention", ..., "" when there was none */
    lay_named named;
    double probability; /* that the verdict gave the part, or the first suspect it cannot be told from; NaN: none */
    char *state;        /* that the verdict gave it: "suspect", "open", "untested", "cleared" or "" */
} lay_found;
typedef struct lay_found_table {
    lay_found *rows; /* [count] in the order of the file: of one part the later row is the newer */
    size_t count, capacity;
} lay_found_table;
/* Read the table; a missing one is empty. LAY_BAD_INPUT with file and line for one that cannot be read. Free with
 * lay_found_free. */
LAY_API lay_status lay_found_load(const char *path, lay_found_table *out, lay_error *err);
/* The same from text; `path` is for errors. */
LAY_API lay_status lay_found_parse(const char *text, size_t length, const char *path, lay_found_table *out,
                                   lay_error *err);
LAY_API void lay_found_free(lay_found_table *table);
/* Add a row; what stands there stays. As lay_run_table_add. NULL strings are empty. */
LAY_API lay_status lay_found_add(const char *path, const lay_found *found, lay_error *err);

/* ---- rpm logs ---- */

/* Readings of a scan tool or logger; its clock is its own. */
typedef struct lay_rpm_log {
    double *time;  /* s since the first reading, strictly rising; [0] is 0 */
    double *rpm;   /* of the reference shaft, turns per minute, >= 0 */
    size_t count;  /* >= 2 */
    double step_s; /* median time from one reading to the next */
} lay_rpm_log;

/* Read a CSV log (comma, semicolon or tab; with the latter two a decimal comma is allowed) that has a column of time
 * and one of speed under any usual English heading, with units in brackets or not. Time may be in s, ms, as hh:mm:ss or
 * as ISO 8601 date and time; speed in rpm, Hz, rev/s or rad/s when the heading says so. Lines before the headings,
 * other columns and cells without a reading are passed over. What was left out or guessed is appended to `warnings`, a
 * sentence per line (NULL allowed). LAY_BAD_INPUT, with file and line, when a column is missing, times run backwards
 * throughout, the values cannot be rpm, or the shaft stands still in the whole log; LAY_IO when it cannot be read. Free
 * with lay_rpm_log_free (NULL allowed). */
LAY_API lay_status lay_rpm_log_load(const char *path, lay_rpm_log *out, lay_text *warnings, lay_error *err);
LAY_API void lay_rpm_log_free(lay_rpm_log *log);

/* ---- writing recordings (simulator, later capture) ---- */

typedef struct lay_writer lay_writer;
typedef enum lay_file_format {
    LAY_FILE_WAV16,
    LAY_FILE_WAV24,
    LAY_FILE_WAV_FLOAT,
    LAY_FILE_FLAC16,
    LAY_FILE_FLAC24
} lay_file_format;
/* Refuses to overwrite (LAY_BAD_INPUT when `path` exists). Written under a temporary name beside it and renamed at
 * close. */
LAY_API lay_status lay_writer_open(const char *path, lay_file_format format, double rate, int channels,
                                   lay_writer **out, lay_error *err);
LAY_API lay_status lay_writer_write(lay_writer *w, const double *frames, size_t count, lay_error *err);
/* Leave nothing behind: after an error elsewhere. NULL allowed. */
LAY_API void lay_writer_discard(lay_writer *w);
LAY_API lay_status lay_writer_close(lay_writer *w, lay_error *err); /* NULL allowed; frees in every case */

/* ---- playing, through PortAudio ---- */

/* False when the library was built without PortAudio; nothing can be played then. */
LAY_API bool lay_sound_built(void);
/* Asked between blocks: true ends playing early. */
typedef bool (*lay_stop)(void *user);
/* Play a recording through an output device: NULL the usual one, else by its number as lay_sound_devices lists them, or
 * by a part of its name. Samples are multiplied by `gain` and held within full scale; the first two channels are heard,
 * a single one on both sides, resampled where the device does not take the recording's rate. Blocks until the end, or
 * until `stop` (NULL allowed) says so. LAY_IO when there is no device or it fails, LAY_BAD_INPUT for an unknown device;
 * the sound system may write to standard error on its own. */
LAY_API lay_status lay_sound_play(const char *path, const char *device, double gain, lay_stop stop, void *user,
                                  lay_error *err);
/* Output devices, one "number name, channels" per line; empty when there are none. */
LAY_API lay_status lay_sound_devices(lay_text *out, lay_error *err);

/* ---- recording, through PortAudio ---- */

typedef struct lay_capture lay_capture; /* a recording being made */

typedef struct lay_capture_options {
    const char *device;  /* NULL the usual one, its number as lay_sound_inputs lists them, or a part of its name */
    double rate;         /* samples per second; 0: the device's own */
    int channels;        /* 0: all the device has, 2 at most */
    int bits;            /* 16, 24 or 32; 0: 24 */
    const char *comment; /* into the file's own text: sensor, calibration, conditions; NULL none */
    double seconds;      /* so much is taken, to the frame, what comes later is not; 0: no end */
    double hear_s;       /* seconds of sound that may wait for lay_capture_hear; 0: it is not used */
    /* Called once, from lay_capture_start, when the file stands and no sample has come yet: the place to note that it
     * exists. Its error ends the capture, and the file goes again. NULL: not wanted. */
    lay_status (*ready)(void *user, lay_error *err);
    void *user;
} lay_capture_options;

/* What has come so far. */
typedef struct lay_capture_state {
    char device[128];
    double rate;
    int channels, bits;
    int64_t frames;      /* that came from the device, those lost included */
    int64_t kept;        /* of them a reader of the file gets at the least */
    int64_t lost;        /* that found no room: as much silence stands in the file once more came after them */
    int overruns;        /* times that the device says it lost samples, how many is unknown */
    double first_loss_s; /* when either happened first; NaN never */
    bool ended;          /* the disk takes no more or the device gives no more, for two seconds where it does not say
                          * so: lay_capture_stop tells why */
} lay_capture_state;

/* Input devices, one "number name, channels" per line; empty when there are none. */
LAY_API lay_status lay_sound_inputs(lay_text *out, lay_error *err);
/* Make the sound system ready and keep it so until lay_sound_end: a capture then starts without looking for devices
 * again. Each call is ended once; not while a capture runs, and not after one whose device did not let go. */
LAY_API lay_status lay_sound_begin(lay_error *err);
LAY_API void lay_sound_end(void);
/* What a capture with these options would be of, as far as that is known without opening the device: its device, rate,
 * channels and bits. Errors as below. */
LAY_API lay_status lay_capture_plan(const lay_capture_options *options, lay_capture_state *out, lay_error *err);
/* Begin to record into `path`, which must not exist (LAY_BAD_INPUT); NULL: nothing is kept, for meters. The file has
 * its name from the start and can be read at every moment, see lay_capture_state.kept: if the program is killed, at
 * most the last second is missing. It is RF64 while it grows, and WAV when it ends below 4 GiB. LAY_BAD_INPUT for an
 * unknown device or what it cannot do, LAY_IO without any. The sound system may write to standard error on its own. One
 * capture at a time. */
LAY_API lay_status lay_capture_start(const lay_capture_options *options, const char *path, lay_capture **out,
                                     lay_error *err);
/* How it stands; peaks[channels], of full scale, since this was last asked (NULL allowed). Never waits. */
LAY_API void lay_capture_look(lay_capture *capture, lay_capture_state *state, double *peaks);
/* The sound itself as it comes: up to `room` frames, interleaved, full scale = 1, into frames[room * channels];
 * returns how many, 0 when there is nothing new. What waited longer than hear_s becomes silence of the same length
 * here; in the file it is not missing. Never waits; always from the same thread. */
LAY_API size_t lay_capture_hear(lay_capture *capture, double *frames, size_t room);
/* End it: all that came is in the file. LAY_IO when the disk took no more or the device failed; what was recorded until
 * then is kept all the same; a sound system that does not let go of its device is left to itself after three seconds.
 * `state` (NULL allowed) says what there is. Frees; NULL allowed. */
LAY_API lay_status lay_capture_stop(lay_capture *capture, lay_capture_state *state, lay_error *err);

#endif
