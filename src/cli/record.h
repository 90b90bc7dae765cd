/* What the files of `layshaft record` share. */
#ifndef LAYSHAFT_CLI_RECORD_H
#define LAYSHAFT_CLI_RECORD_H

#include <layshaft/report.h>

#include "clock.h"
#include "live.h"
#include "options.h"

#define LAY_RECORD_BITS "16|24|32"
#define LAY_RECORD_BITS_USUAL 1 /* index of 24 among them */

typedef struct lay_record_options {
    const char *gear, *load, *rpm, *road_speed, *sensor, *channel, *tach_on, *note, *device, *calibrate;
    int tach_channel, channels, colour;
    int bits; /* index into LAY_RECORD_BITS */
    double pulses_per_rev, rate, seconds, countdown;
    bool devices, rescue, now;
    lay_common common;
} lay_record_options;

/* The job that is recorded into. */
typedef struct lay_record_job {
    const lay_record_options *options;
    const char *folder;
    char *table, *calibrations; /* paths of runs.csv and calibration.csv */
    lay_unit *unit;             /* NULL: the job has none yet */
    bool keys;                  /* somebody sits at the terminal */
    bool warned;                /* the cautions were shown */
    FILE *screen;               /* for meters; NULL: nobody looks */
} lay_record_job;

/* record_job.c: `options` and `folder` are set before; close in any case. */
lay_status lay_record_open(lay_record_job *job, lay_error *err);
void lay_record_close(lay_record_job *job);
/* Unless --quiet. */
void lay_record_cautions(const lay_record_job *job, FILE *to);

/* record_row.c: the row of runs.csv that a recording gets. Strings are owned. */
#define LAY_RECORD_CELLS 14
typedef struct lay_record_row {
    lay_run_entry cells[LAY_RECORD_CELLS];
    size_t count;
    char *file, *path, *full_scale; /* file: relative to the job */
    char pulses[32], tach[16];
    char *comment; /* the same for the file itself, from which lay_record_row_read makes cells again */
} lay_record_row;
/* `plan` says what is recorded; warnings (a sentence a line) tell of channels without calibration. */
lay_status lay_record_row_make(const lay_record_job *job, const char *gear, const char *load,
                               const lay_capture_state *plan, lay_record_row *row, lay_text *warnings, lay_error *err);
void lay_record_row_free(lay_record_row *row);
/* Cells out of a recording's own text, beside its file name; false when layshaft did not write it. `text` is taken
 * apart, and the cells point into it. */
bool lay_record_row_read(char *text, const char *file, lay_run_entry cells[LAY_RECORD_CELLS], size_t *count);
/* "gear-3-drive-01.wav", the first number that is free in the folder and the table. Caller frees. */
char *lay_record_name(const lay_record_job *job, const char *stem, lay_error *err);

/* record_run.c: one recording. What there is to say of it goes to `out`, also when the device or the disk ended it
 * (LAY_IO); nothing when nobody wanted to start. */
lay_status lay_record_one(const lay_record_job *job, const char *gear, const char *load, lay_text *out, lay_error *err);
/* The same as a part of a walk: *next says that the next one was asked for instead. */
lay_status lay_record_step(const lay_record_job *job, const char *gear, const char *load, lay_text *out, bool *next,
                           lay_error *err);

/* record_walk.c: one after the other what the plan asks for, until somebody leaves. Prints what there is to say. */
lay_status lay_record_walk(const lay_record_job *job, lay_error *err);
/* Whether that is what is asked for: no gear or load stated, somebody at the terminal, a unit to plan by. */
bool lay_record_is_walk(const lay_record_job *job);
/* The gear and load as stated, against the unit; LAY_BAD_USAGE. */
lay_status lay_record_check(const lay_record_job *job, const char *gear, const char *load, lay_error *err);
/* What the capture is to be like. */
lay_capture_options lay_record_capture(const lay_record_options *o);

/* record_look.c: a recording read again: checks per channel, and the tach. */
typedef struct lay_record_look {
    lay_channel_check *checks; /* NULL: it could not be read */
    lay_tach_look tach;
    bool has_tach;
} lay_record_look;
lay_status lay_record_look_at(const char *path, int tach_channel, const lay_tach_options *tach, bool progress,
                              lay_record_look *out, lay_text *warnings, lay_error *err);

/* record_tach.c: how the pulses of the tach tell the reference; `warnings` say where they cannot. */
lay_tach_options lay_record_tach(const lay_record_job *job, const char *gear, lay_text *warnings);

/* record_calibrate.c, record_rescue.c: --calibrate and --rescue. */
lay_status lay_record_calibrate(const lay_record_job *job, lay_text *out, lay_error *err);
lay_status lay_record_rescue(const lay_record_job *job, lay_text *out, lay_error *err);

#endif
