/* The names above the columns of an rpm log. */
#ifndef LAYSHAFT_SIGNAL_LOG_HEADER_H
#define LAYSHAFT_SIGNAL_LOG_HEADER_H

#include "csv_number.h"

typedef struct lay_log_columns {
    char separator;
    int width;        /* headings in the line */
    int time, rpm;    /* from 0; -1 when no heading names it */
    double time_unit; /* seconds per unit of the time column; 0: the heading tells none */
    double rpm_unit;  /* turns per minute per unit of the rpm column; 0: the heading tells none */
    bool other_body;  /* the heading names a wheel, an output shaft or another body that rarely is the reference */
} lay_log_columns;

/* What a line of headings says; the best column of each kind where several would do. */
void lay_log_header(const char *line, lay_log_columns *out);
/* A cell under the headings that holds a unit: "s", "[1/min]". 0 for anything else. */
double lay_log_time_unit(lay_slice cell);
double lay_log_rpm_unit(lay_slice cell);

#endif
