/* Lines of a text file of any length, with bounded memory. */
#ifndef LAYSHAFT_SIGNAL_CSV_LINES_H
#define LAYSHAFT_SIGNAL_CSV_LINES_H

#include <layshaft/base.h>
#include <stdio.h>

enum { LAY_LONGEST_LINE = 65536 }; /* bytes with the line end */

/* Zero it to start. */
typedef struct lay_csv_lines {
    FILE *file;
    char *path, *buffer;
    size_t start, end; /* unread bytes of the buffer */
    bool at_end;
    int line; /* number of the line last delivered, from 1 */
} lay_csv_lines;

lay_status lay_csv_lines_open(lay_csv_lines *lines, const char *path, lay_error *err);
void lay_csv_lines_close(lay_csv_lines *lines); /* a zeroed struct is allowed */
lay_status lay_csv_lines_rewind(lay_csv_lines *lines, lay_error *err);
/* The next line with a final 0 instead of its line end (a byte-order mark is skipped), valid until the next call;
 * *text is NULL at the end. LAY_BAD_INPUT for binary data and lines longer than LAY_LONGEST_LINE. */
lay_status lay_csv_lines_next(lay_csv_lines *lines, char **text, size_t *length, lay_error *err);

#endif
