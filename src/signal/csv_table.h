/* Small tables in CSV with quoting: comma, semicolon or tab separated, held in memory. */
#ifndef LAYSHAFT_SIGNAL_CSV_TABLE_H
#define LAYSHAFT_SIGNAL_CSV_TABLE_H

#include <layshaft/base.h>

typedef struct lay_csv_field {
    const char *text; /* without quotation marks and the blanks around */
    int line, column; /* where it starts, from 1 */
    int span;         /* bytes up to the separator or line end */
    const char *line_start;
} lay_csv_field;

typedef struct lay_csv_row {
    lay_csv_field *fields;
    size_t count, capacity;
} lay_csv_row;

/* Zero it to start. */
typedef struct lay_csv_table {
    char *source; /* as it came, with a final 0: for excerpts */
    char *values; /* the same bytes, decoded in place */
    size_t length, at;
    char separator;
    int line;
    size_t line_start;
    const char *file; /* borrowed, for errors */
} lay_csv_table;

/* `file` (its name) must outlive the table. The separator comes from the first row. */
lay_status lay_csv_table_open(lay_csv_table *t, const char *text, size_t length, const char *file, lay_error *err);
void lay_csv_table_close(lay_csv_table *t);
/* The next row that is neither blank nor a note (#); count 0 at the end. Fields stay valid until close; the row's
 * array is reused and freed with free(row->fields). */
lay_status lay_csv_table_next(lay_csv_table *t, lay_csv_row *row, lay_error *err);

#endif
