/* What the files of `layshaft watch` share. */
#ifndef LAYSHAFT_CLI_WATCH_H
#define LAYSHAFT_CLI_WATCH_H

#include "record.h"
#include "single.h"

typedef struct lay_watch_options {
    lay_record_options record; /* device, channels, tach and what goes into the row of a recording */
    const char *baseline, *into;
    lay_single single; /* the same facts for files */
    double limit_db, pace;
    bool pace_given, no_window;
} lay_watch_options;

/* watch_run.c: the whole session; operands as on the command line. Returns the exit status. */
int lay_watch_run(const lay_watch_options *o, char **operands, int count);

/* watch_source.c: frames from a device or a file, as they come. */
typedef struct lay_watch_source lay_watch_source;
lay_status lay_watch_source_file(const char *path, double csv_rate, double pace, lay_watch_source **out,
                                 lay_error *err);
lay_status lay_watch_source_device(const lay_capture_options *capture, const char *path, lay_watch_source **out,
                                   lay_error *err);
double lay_watch_source_rate(const lay_watch_source *s);
int lay_watch_source_channels(const lay_watch_source *s);
const char *lay_watch_source_name(const lay_watch_source *s);
/* What came since, at most `room` frames, 0: nothing yet; *over: nothing more will come. */
lay_status lay_watch_source_read(lay_watch_source *s, double *frames, size_t room, size_t *got, bool *over,
                                 lay_error *err);
/* What is wrong now with the sound, "" when all is well: clipping, losses. */
void lay_watch_source_trouble(lay_watch_source *s, char *text, size_t room);
/* Ends it; `state` (NULL allowed) is what a device gave at last. Why it ended by itself is the error. */
lay_status lay_watch_source_close(lay_watch_source *s, lay_capture_state *state, lay_error *err);

/* watch_baseline.c: the same unit and gear in a recording of good sound. */
lay_status lay_watch_baseline_read(const lay_unit *unit, int gear, const char *path, const lay_run_spec *like,
                                   lay_watch_baseline **out, lay_error *err);

/* The row of a recording in the table beside it; false when there is none. The table is the caller's in any case. */
bool lay_watch_find_row(const char *path, lay_run_table *table, const lay_run_spec **row);

/* watch_window.c: a gnuplot window, where there is a display. Never makes the caller wait. */
typedef struct lay_watch_window lay_watch_window;
lay_watch_window *lay_watch_window_open(void); /* NULL: no display or no gnuplot */
/* Whether it has drawn what it was given last. */
bool lay_watch_window_ready(lay_watch_window *w);
void lay_watch_window_draw(lay_watch_window *w, const lay_text *script);
void lay_watch_window_close(lay_watch_window *w); /* NULL allowed */

#endif
