/* The columns of runs.csv: their names and how a cell becomes part of a run. */
#ifndef LAYSHAFT_SIGNAL_RUN_FIELDS_H
#define LAYSHAFT_SIGNAL_RUN_FIELDS_H

#include "csv_table.h"
#include <layshaft/signal.h>

/* One cell with what is needed to understand it and to complain. */
typedef struct lay_run_cell {
    const lay_csv_field *field;
    const char *file;   /* the table */
    const char *folder; /* of the table */
    bool decimal_comma;
} lay_run_cell;

/* Index of the column called `name` (any case; blanks and hyphens count as underscores), -1 when there is none. */
int lay_run_column(const char *name);
/* The column probably meant by a misspelt `name`, NULL when it rather is a note of the user's own. */
const char *lay_run_column_near(const char *name);
int lay_run_column_count(void);
const char *lay_run_column_name(int column);
/* Takes a non-empty cell into the run. Columns are to be read in index order. */
lay_status lay_run_column_read(int column, const lay_run_cell *cell, lay_run_spec *run, lay_error *err);

#endif
