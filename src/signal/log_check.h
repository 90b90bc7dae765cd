/* What only a whole rpm log shows. */
#ifndef LAYSHAFT_SIGNAL_LOG_CHECK_H
#define LAYSHAFT_SIGNAL_LOG_CHECK_H

#include "log_header.h"
#include "log_time.h"

#include <layshaft/signal.h>

/* Rows of one kind of trouble. */
typedef struct lay_log_trouble {
    size_t count;
    int line; /* the first of them */
} lay_log_trouble;

/* A log being read: time as written, speed in the column's unit. */
typedef struct lay_log_draft {
    const char *path;
    lay_log_columns columns;
    lay_log_time_kind kind;
    double *time, *rpm;
    size_t count, time_capacity, rpm_capacity;
    size_t rows;      /* rows with a reading */
    int heading_line; /* of the headings */
    lay_log_trouble backward, repeated, absurd;
} lay_log_draft;

enum { LAY_LOG_MOST_RPM = 200000 }; /* no transmission turns faster */

/* Judges the draft, drops readings that cannot be, makes time seconds from 0 and speed rpm. `step_s` gets the median
 * step. Errors as lay_rpm_log_load. */
lay_status lay_log_check(lay_log_draft *draft, double *step_s, lay_text *warnings, lay_error *err);

#endif
