/* Times as logs write them. */
#ifndef LAYSHAFT_SIGNAL_LOG_TIME_H
#define LAYSHAFT_SIGNAL_LOG_TIME_H

#include "csv_number.h"

typedef enum lay_log_time_kind {
    LAY_LOG_TIME_NUMBER, /* in the column's unit */
    LAY_LOG_TIME_CLOCK,  /* time of day or time elapsed as hh:mm:ss, in seconds; begins anew at midnight */
    LAY_LOG_TIME_DATED   /* date and time, in seconds; a zone is taken into account */
} lay_log_time_kind;

/* Reads a number, hh:mm:ss, mm:ss.s, with AM or PM, an ISO 8601 date-time, or another date with a time behind it (only
 * the time counts then). False for anything else. */
bool lay_log_time(lay_slice cell, bool decimal_comma, lay_log_time_kind *kind, double *value);

#endif
