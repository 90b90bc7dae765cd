/* Recordings named on the command line: what --gear, --rpm and the like say, as rows of a table of runs. */
#ifndef LAYSHAFT_CLI_SINGLE_H
#define LAYSHAFT_CLI_SINGLE_H

#include <layshaft/signal.h>

#include "options.h"

/* What was said about the recordings; NULL and 0: nothing. */
typedef struct lay_single {
    const char *gear, *load, *rpm, *tach_on, *channel, *sensor;
    int tach_channel;
    double pulses_per_rev, csv_rate;
} lay_single;

/* The rows of the option table that fill `single`. */
#define LAY_SINGLE_ROWS 9
void lay_single_options(lay_single *single, lay_option rows[LAY_SINGLE_ROWS]);

/* Name of the first option of these that was given, NULL: none. A job's facts belong into its runs.csv. */
const char *lay_single_stray(const lay_single *single);

/* One row per file. The table has no path: messages name the recording. Errors are LAY_BAD_USAGE and name the option.
 * Free with lay_run_table_free. */
lay_status lay_single_table(const lay_single *single, char *const *files, size_t count, lay_run_table *out,
                            lay_error *err);

#endif
