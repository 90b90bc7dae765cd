/* A small table whose columns are found by their names; private to the stage. */
#ifndef LAYSHAFT_SIGNAL_CSV_NAMED_H
#define LAYSHAFT_SIGNAL_CSV_NAMED_H

#include "csv_table.h"

#define LAY_CSV_NAMED_MOST 16

/* Zero it to start. */
typedef struct lay_csv_named {
    lay_csv_table csv;
    lay_csv_row row;
    int place[LAY_CSV_NAMED_MOST]; /* of each column in a row, -1: the table has none of that name */
} lay_csv_named;

/* Open as lay_csv_table_open does and read the first line; `names` [count <= LAY_CSV_NAMED_MOST], in any case. */
lay_status lay_csv_named_open(lay_csv_named *t, const char *text, size_t length, const char *file,
                              const char *const *names, size_t count, lay_error *err);
void lay_csv_named_close(lay_csv_named *t);
/* The next row; t->row.count is 0 at the end. */
lay_status lay_csv_named_next(lay_csv_named *t, lay_error *err);
/* Cell of a column in this row, "" where it is missing. */
const char *lay_csv_named_text(const lay_csv_named *t, size_t column);
/* LAY_BAD_INPUT at that cell, or at the row where it is missing. */
lay_status lay_csv_named_fail(const lay_csv_named *t, size_t column, const char *why, lay_error *err);

#endif
