/* First reading of sample CSV: what its columns are, how many samples, at which rate. */
#ifndef LAYSHAFT_SIGNAL_CSV_SCAN_H
#define LAYSHAFT_SIGNAL_CSV_SCAN_H

#include "csv_lines.h"

typedef struct lay_csv_layout {
    char separator;
    bool decimal_comma;
    int columns;
    int time_column;     /* from 0; -1 when there is none */
    int first_data_line; /* lines before it are notes, blanks and the header */
    double time_unit;    /* seconds per unit of the time column */
    int64_t frames;
    double rate; /* 1/s */
} lay_csv_layout;

/* Reads all of `lines` (freshly opened), checks every number and the evenness of time. `csv_rate` (0: not known)
 * serves files without a time column. Errors name line and column. */
lay_status lay_csv_scan(lay_csv_lines *lines, double csv_rate, lay_csv_layout *out, lay_error *err);
/* The numbers of one line into row[columns]; time resolution into `resolution` (NULL allowed). */
lay_status lay_csv_row(const lay_csv_lines *lines, const lay_csv_layout *layout, const char *line, double *row,
                       double *resolution, lay_error *err);
/* Blank lines and lines that start with # or % carry no samples. */
bool lay_csv_is_note(const char *line);

#endif
