/* Fields and numbers of one line of sample CSV. */
#ifndef LAYSHAFT_SIGNAL_CSV_NUMBER_H
#define LAYSHAFT_SIGNAL_CSV_NUMBER_H

#include <layshaft/base.h>

/* A piece of a line; quotation marks around it are left out. */
typedef struct lay_slice {
    const char *text;
    size_t length;
} lay_slice;

/* The separator a line uses: ';', tab, ',' or ' ' in this order of preference. */
char lay_csv_separator(const char *line);
/* Takes the next field from *cursor; false at the end of the line. A space stands for any run of blanks. */
bool lay_csv_field_next(const char **cursor, char separator, lay_slice *out);
/* A decimal number, `nan` or `inf` (any case, any sign) that fills the slice. With `decimal_comma` a comma is
 * read as the point. `resolution` (NULL allowed) gets the worth of the last digit written. */
bool lay_csv_number(lay_slice field, bool decimal_comma, double *out, double *resolution);

#endif
