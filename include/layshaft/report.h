/* What a person or a program sees of a diagnosis: terminal text, JSON, plots. */
#ifndef LAYSHAFT_REPORT_H
#define LAYSHAFT_REPORT_H

#include <layshaft/judge.h>

/* Terminal text of a diagnosis, appended to `out`: verdict, first suspect with reasons and checks, what else it could
 * be, which recording would settle it, the runs with their strongest lines, warnings. No line is wider than `width`
 * columns (clamped to 60..200; 0 means 80), names of any length and script included; control characters in names never
 * reach the terminal. With `colour` headlines carry ANSI SGR codes; colour repeats what the words say. `table` and
 * `d->runs` belong together row by row. LAY_NO_MEMORY when `out` could not grow. */
LAY_API lay_status lay_report_text(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                   bool colour, int width, lay_text *out);

/* The object of `layshaft diagnose --json`, appended to `out` and ended by a newline; indented by two spaces or on one
 * line. RFC 8259: UTF-8, '.' as decimal point whatever the locale, null for values that are not known (NaN, infinity).
 * Beyond the fixed members each line carries `class`, `body` and `rivals`, each verdict `add`, `parts` and `stranger`,
 * each suspect `blows` and `symptoms`, each run `envelope`. */
LAY_API lay_status lay_report_json(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                   bool indented, lay_text *out);

/* A line of JSON for one job of many, appended to `out`: {"job":FOLDER,"exit":STATUS,NAME:OBJECT}; `object` is a JSON
 * object as from lay_report_json, on one line, left out when it is empty. Where the status is not LAY_OK, "error" holds
 * the sentence of `err`. LAY_NO_MEMORY as lay_report_json. */
LAY_API lay_status lay_report_job_line(const char *folder, lay_status status, const lay_error *err, const char *name,
                                       const lay_text *object, lay_text *out);

/* One run's order spectrum as gnuplot commands with the data inline, appended to `out`. The picture goes to `png` and
 * `svg` (either may be NULL, both: into a window; paths must not hold newlines or controls: LAY_BAD_INPUT). 1200 x 600.
 * `number` counts runs from 1. */
LAY_API lay_status lay_report_plot_script(const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run,
                                          int number, const char *png, const char *svg, lay_text *out, lay_error *err);

/* Feed a script to gnuplot through a pipe. The caller must ignore SIGPIPE. LAY_IO when gnuplot is not installed (the
 * message says how to get it) or refuses the script. */
LAY_API lay_status lay_report_gnuplot(const lay_text *script, lay_error *err);

/* What a report folder is to hold. */
typedef struct lay_report_options {
    const char *folder; /* made with its parents when missing */
    bool plots, clips;  /* pictures; sound of the suspects */
    const char *job;    /* name of the job, shown on the page; NULL none */
    const char *date;   /* of the report, as it is to be shown; NULL none */
} lay_report_options;

/* Write the report of a diagnosis:
 *   report.html         one page with everything in it, pictures and sound included: to read, to print, to hand over
 *   report.txt, .json   lay_report_text and lay_report_json; lines.csv: all lines of all runs
 *   run-NN-spectrum     (.png and .svg) of every usable run, -speed where the speed is known, -map where it covers a
 * range, -envelope of the likeliest suspect that strikes in its best run; the recordings are read again
 *   suspect-N-levels    and -wheels, of what the closer look measured
 *   suspect-N-recorded  -alone and -without (.flac): seconds in which the part is loudest
 * Files of an earlier report are replaced, pictures of runs that no longer exist are removed, nothing else is touched.
 * Pictures and sound that fail do not stop the rest: the first reason is then in `missing` (code LAY_OK: all is there).
 * `written` (NULL allowed) receives the names of the files, in the order written. */
LAY_API lay_status lay_report_write(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                    const lay_report_options *options, lay_strings *written, lay_error *missing,
                                    lay_error *err);

/* Open windows, which stay: the order spectrum of the run that shows the first suspect best, its envelope spectrum when
 * it strikes, its levels against speed where they were measured. LAY_IO when gnuplot has no window to open. */
LAY_API lay_status lay_report_show(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                   lay_error *err);

/* What a report.json of an earlier diagnosis says of one part; strings are borrowed or static. */
typedef struct lay_told {
    char outcome[16]; /* "attention", ... */
    lay_named named;  /* how it was named */
    double
        probability; /* that the report gives it, or the first suspect it cannot be told from; NaN: it is not named */
    char state[16];  /* of the part: "suspect", ..., "" where nothing is said of it */
} lay_told;
/* Read it. `part` NULL or "": the unit as a whole, which is never named. A suspect outside that the unit file does not
 * list is named by any `part` that is `outside`. LAY_BAD_INPUT for a file that is missing or no report. */
LAY_API lay_status lay_report_tell(const char *path, const char *part, bool outside, lay_told *out, lay_error *err);

/* What the unit can be heard at, for `layshaft orders`: per gear the ratio, the output's order, every part's orders,
 * which carry torque, and which parts cannot be told apart. `gear` -1: all gears. Text at most `width` columns; JSON on
 * one object. Orders closer than `resolution` (0: 1/64) count as the same. Gears that cannot be solved are errors. */
LAY_API lay_status lay_report_orders_text(const lay_unit *unit, int gear, double resolution, bool colour, int width,
                                          lay_text *out, lay_error *err);
LAY_API lay_status lay_report_orders_json(const lay_unit *unit, int gear, double resolution, bool indented,
                                          lay_text *out, lay_error *err);

/* A side view of the unit as one <svg>: shafts, wheels to scale by their teeth, bearings, and how the torque goes in
 * `gear` (-1: not shown). *drawn is false, and nothing is appended, for a unit without gear pairs, or whose axes cannot
 * be told apart. */
LAY_API lay_status lay_report_drawing(const lay_unit *unit, int gear, bool *drawn, lay_text *out, lay_error *err);

/* What lay_unit_interview made: the file at `path`, what is open and what looks odd in it (a sentence a line). */
LAY_API lay_status lay_report_unit_text(const lay_unit *unit, const char *path, const lay_text *open,
                                        const lay_text *odd, int width, lay_text *out);
LAY_API lay_status lay_report_unit_json(const lay_unit *unit, const char *path, const lay_text *open,
                                        const lay_text *odd, bool indented, lay_text *out);

/* ---- layshaft speed ---- */

/* One run as the speed report shows it; all borrowed. */
typedef struct lay_speed_row {
    const lay_run_spec *spec;
    const lay_run_speed *speed;
    size_t number;       /* of the run, from 1 */
    const char *picture; /* path of the PNG, NULL: none was drawn */
} lay_speed_row;

/* Terminal text as lay_report_text writes it: for every run how fast, how found, how sure, where there is no speed,
 * what to do when it is unsure. */
LAY_API lay_status lay_report_speed_text(const lay_unit *unit, const lay_speed_row *rows, size_t count, bool colour,
                                         int width, lay_text *out);
/* The object of `layshaft speed --json`, written as lay_report_json does. `pieces` are those with a speed, `gaps` those
 * of 0.2 s and more without; `uncertainty_rpm` is the standard uncertainty, rms over time, null where none is
 * estimated; `gears` is empty where none was sought. */
LAY_API lay_status lay_report_speed_json(const lay_unit *unit, const lay_speed_row *rows, size_t count, bool indented,
                                         lay_text *out);
/* "time_s,rpm", then a line for every multiple of `step_s` (> 0) at which there is a speed: 0.000 s and 0.01 rpm. */
LAY_API lay_status lay_report_speed_csv(const lay_shaft *shaft, double step_s, lay_text *out);
/* Speed over time below the spectra over time (`map`, see lay_report_speed_map) as gnuplot commands, appended to `out`;
 * `png`, `svg` and errors as with lay_report_plot_script. 1200 x 800. */
LAY_API lay_status lay_report_speed_script(const lay_unit *unit, const lay_speed_row *row, const lay_spectrogram *map,
                                           const char *png, const char *svg, lay_text *out, lay_error *err);
/* Window and highest frequency at which the lines of this unit show best at this speed. */
LAY_API lay_stft_options lay_report_speed_map(const lay_unit *unit, const lay_run_speed *speed);
/* Read the recording once more and draw `folder`/speed-NN.png and .svg; the folder is made when missing. What fails
 * leaves no picture. *path (caller frees) is the PNG. */
LAY_API lay_status lay_report_speed_draw(const lay_unit *unit, const char *table_path, const lay_speed_row *row,
                                         const char *folder, char **path, lay_error *err);

/* ---- layshaft listen ---- */

/* What was taken out of a run and where it went; all borrowed. */
typedef struct lay_listen_result {
    const lay_run_spec *spec;
    size_t number;                 /* of the run, from 1 */
    const char *name;              /* of the part; NULL: a single order */
    bool without;                  /* the file holds the recording without it */
    bool unsure;                   /* the speed of the run is not surely found */
    const lay_part_orders *orders; /* count 0: a band */
    const lay_ring_band *ring;     /* the band */
    double width;                  /* of each order, in orders */
    double mean_hz;                /* of the reference */
    double share_db;               /* mean power of the part over that of the recording */
    double asked_db, lift_db;      /* louder by so much: as asked for, as written */
    double peak;                   /* as written, over full scale; 1: as loud as can be */
    const char *file;
    bool played, stopped; /* stopped: not to the end */
    const char *silent;   /* why nothing was played; NULL: it was not asked for, or it was played */
} lay_listen_result;

/* What is in the file; whether it was played is not said. */
LAY_API lay_status lay_report_listen_text(const lay_listen_result *result, bool colour, int width, lay_text *out);
/* Whether it was played, in the same layout; nothing when it was, or was not to be. */
LAY_API lay_status lay_report_listen_played(const lay_listen_result *result, bool colour, int width, lay_text *out);
LAY_API lay_status lay_report_listen_json(const lay_unit *unit, const lay_listen_result *result, bool indented,
                                          lay_text *out);

/* ---- layshaft found, layshaft ledger ---- */

/* What the teardown of a job showed so far; text as lay_report_text writes it. `unit` is borrowed. */
LAY_API lay_status lay_report_found_text(const lay_unit *unit, const lay_found_table *found, bool colour, int width,
                                         lay_text *out);
LAY_API lay_status lay_report_found_json(const lay_unit *unit, const lay_found_table *found, bool indented,
                                         lay_text *out);
/* "worn, pitted or scuffed teeth", ...; static text. */
LAY_API const char *lay_report_found_words(lay_found_what what);
/* How often the verdicts of a folder of jobs were right, with the interval that leaves (95 %, see lay_share_interval).
 */
LAY_API lay_status lay_report_ledger_text(const char *folder, const lay_ledger *ledger, bool colour, int width,
                                          lay_text *out);
LAY_API lay_status lay_report_ledger_json(const char *folder, const lay_ledger *ledger, bool indented, lay_text *out);

/* ---- layshaft compare ---- */

/* Names of the jobs and units behind a comparison; all borrowed. */
typedef struct lay_compared {
    const lay_comparison *comparison;
    const lay_measured *before, *after;
    const char *before_name, *after_name; /* folders */
} lay_compared;

/* Text as lay_report_text writes it: verdict, what was compared, part by part and line by line, what else differs. */
LAY_API lay_status lay_report_compare_text(const lay_compared *compared, bool colour, int width, lay_text *out);
/* The object of `layshaft compare --json`, written as lay_report_json does. Beyond the fixed members: `verdict`,
 * `summary`, `match`, `repeat_db`, `shared`, `differs`, `not_compared`; each part carries levels, tone-to-noise and
 * prominence ratios, `by_condition` and `lines`. `trend` is null for two jobs. */
LAY_API lay_status lay_report_compare_json(const lay_compared *compared, const lay_trend *trend, bool indented,
                                           lay_text *out);
/* Where the pictures and the page of a comparison go. */
typedef struct lay_compare_options {
    const char *folder; /* made when missing */
    bool plots;
    const char *date; /* NULL allowed */
} lay_compare_options;
/* Writes compare.txt, compare.json and compare.html, and with `plots` as .png and .svg: compare-parts (change per part
 * as bars with their intervals), compare-speed (the part that changed most against speed) and compare-spectrum (the
 * order spectra of the runs in which it is loudest, both in one). `trend` NULL: two jobs. Pictures that fail do not
 * stop the rest: the first reason is then in `missing`. */
LAY_API lay_status lay_report_compare_write(const lay_compared *compared, const lay_trend *trend,
                                            const lay_compare_options *options, lay_error *missing, lay_error *err);
/* The course over several jobs, for the terminal. */
LAY_API lay_status lay_report_trend_text(const lay_trend *trend, bool colour, int width, lay_text *out);

/* ---- layshaft baseline, layshaft verify ---- */

/* The baseline as the JSON file that it is kept in, appended to `out`. */
LAY_API lay_status lay_report_baseline_file(const lay_baseline *baseline, lay_text *out);
/* Read it back; *out is freed with lay_baseline_free. LAY_BAD_INPUT for anything else. */
LAY_API lay_status lay_report_baseline_read(const char *path, lay_baseline **out, lay_error *err);
LAY_API lay_status lay_report_baseline_parse(const char *text, size_t length, const char *path, lay_baseline **out,
                                             lay_error *err);
/* What a baseline holds, how sharp its limits are, which unit stands out, how many more it needs. `limits` NULL: too
 * few units for limits. */
LAY_API lay_status lay_report_baseline_text(const char *path, const lay_baseline *baseline, const lay_limits *limits,
                                            bool colour, int width, lay_text *out);
LAY_API lay_status lay_report_baseline_json(const char *path, const lay_baseline *baseline, const lay_limits *limits,
                                            bool indented, lay_text *out);

/* A run-in record; all borrowed, texts may be NULL. */
typedef struct lay_run_in {
    const lay_verification *verification;
    const lay_measured *job;
    const char *job_name, *baseline_name; /* folder; file of the baseline or the limits */
    const char *serial, *by, *date;
} lay_run_in;
LAY_API lay_status lay_report_verify_text(const lay_run_in *record, bool colour, int width, lay_text *out);
/* The object of `layshaft verify --json`: beyond the fixed members `tested`, `summary`, `units`, `missing`, `left_out`,
 * and in each part `rise_db`, `limit_db`, `where`. */
LAY_API lay_status lay_report_verify_json(const lay_run_in *record, bool indented, lay_text *out);
/* Writes run-in.txt, run-in.json and run-in.html, made to be printed, into `folder`, which is made when missing. */
LAY_API lay_status lay_report_verify_write(const lay_run_in *record, const char *folder, lay_error *err);

/* ---- layshaft plan ---- */

/* The recordings to make, with how to make each. `asked` (NULL allowed): what the verdict of the job asks for, see
 * lay_report_asked. */
LAY_API lay_status lay_report_plan_text(const lay_unit *unit, const lay_plan *plan, const lay_strings *asked,
                                        bool colour, int width, lay_text *out);
LAY_API lay_status lay_report_plan_json(const lay_unit *unit, const lay_plan *plan, const lay_strings *asked,
                                        bool indented, lay_text *out);
/* The same as an HTML page to print and take along, with boxes to tick and room for notes; `gear` (-1: none) is the one
 * whose flow of torque the drawing shows. */
LAY_API lay_status lay_report_plan_sheet(const lay_unit *unit, const lay_plan *plan, const lay_strings *asked, int gear,
                                         lay_text *out, lay_error *err);
/* The recordings that would settle the verdict in a report.json. Errors as with lay_report_tell. */
LAY_API lay_status lay_report_asked(const char *path, lay_strings *out, lay_error *err);
/* One item before it is recorded, as the `number`th of those that are open. */
LAY_API lay_status lay_report_plan_step(const lay_unit *unit, const lay_plan *plan, size_t at, size_t number,
                                        bool colour, int width, lay_text *out);
/* How to drive it while it is recorded, one sentence; static text. */
LAY_API const char *lay_report_how_to_drive(lay_load load);

/* ---- layshaft record ---- */

/* A channel of a sound device as it stands. */
typedef struct lay_meter_channel {
    double now, most; /* largest sample, of full scale: just now, and since the recording began or of late */
    double clipped_s; /* when it first was at full scale; NaN never */
    bool tach;
} lay_meter_channel;
typedef struct lay_meter {
    const char *what;        /* "waiting", "recording", ... */
    double seconds, total_s; /* so far, and of how many; total 0: open, seconds NaN: none */
    const lay_meter_channel *channels;
    size_t count;
    const lay_tach_look *tach; /* NULL: no tach, or it cannot be read: */
    const char *tach_trouble;  /* why not; NULL: all is well */
    int64_t lost;              /* samples */
    int overruns;
    const char *keys; /* what the keys do, one line; NULL: none */
} lay_meter;
/* The meters as lines of at most `width` columns for a screen of `rows` rows: every time the same number of lines for
 * the same channels, so that they can be drawn over each other. */
LAY_API lay_status lay_report_meter(const lay_meter *m, bool colour, int width, int rows, lay_text *out);

/* A recording that was made; all borrowed. */
typedef struct lay_recorded {
    const lay_unit *unit;            /* NULL: the job has none yet */
    const lay_run_spec *spec;        /* its row of the table */
    size_t number;                   /* of the row, from 1 */
    const lay_capture_state *state;  /* as it ended */
    const char *ended;               /* by what: "time", "key", "signal", "device", "disk" */
    const char *trouble;             /* why the device or the disk ended it; NULL: neither did */
    const lay_channel_check *checks; /* [state->channels]; NULL: it could not be read again */
    const lay_tach_look *tach;       /* over the whole recording, NULL: none */
    const lay_text *warnings;        /* a sentence a line */
    const char *next;                /* what to do next, NULL: nothing */
} lay_recorded;
LAY_API lay_status lay_report_recorded_text(const lay_recorded *r, bool colour, int width, lay_text *out);
LAY_API lay_status lay_report_recorded_json(const lay_recorded *r, bool indented, lay_text *out);

/* What --rescue did: how many recordings are longer now, how many have a row again, and a sentence about each. */
LAY_API lay_status lay_report_rescue_json(const lay_unit *unit, int longer, int rows, const lay_text *said,
                                          lay_text *out);
/* A calibration that was made. */
typedef struct lay_calibrated {
    const lay_unit *unit; /* NULL: the job has none yet */
    const lay_calibration *calibration;
    const lay_calibrator_tone *tone;
    const char *device, *file;
    const lay_text *warnings;
} lay_calibrated;
LAY_API lay_status lay_report_calibrated_text(const lay_calibrated *c, bool colour, int width, lay_text *out);
LAY_API lay_status lay_report_calibrated_json(const lay_calibrated *c, bool indented, lay_text *out);

/* ---- layshaft watch ---- */

typedef struct lay_watch_screen {
    const lay_unit *unit;
    const char *gear;
    const lay_watch *watch;
    const char *trouble; /* why there is no speed, what clips or is lost; NULL: all is well */
    const char *where;   /* device or file */
    bool held;           /* the screen stands still */
    bool recording;
} lay_watch_screen;
/* The screen of a terminal, `rows` lines at most and none wider than `width`. */
LAY_API lay_status lay_report_watch(const lay_watch_screen *s, bool colour, int width, int rows, lay_text *out);
/* What was seen, at the end. `recorded` (NULL: nothing was) names the recording, `warnings` one a line. */
LAY_API lay_status lay_report_watch_summary(const lay_watch_screen *s, const char *recorded, const lay_text *warnings,
                                            bool colour, int width, lay_text *out);
LAY_API lay_status lay_report_watch_json(const lay_watch_screen *s, const char *recorded, const lay_text *warnings,
                                         bool indented, lay_text *out);
/* The order spectrum of one look as gnuplot commands for a window of its own, with the data inline and the baseline's
 * level of each part; the last line printed by gnuplot is "drawn". */
LAY_API lay_status lay_report_watch_plot(const lay_watch_screen *s, const lay_monitor_view *view, lay_text *out);

/* What to mind before shafts turn: on the road, or on a stand. */
LAY_API lay_status lay_report_cautions(bool colour, int width, lay_text *out);

#endif
