/* A new row in a table in CSV; private to the stage. */
#ifndef LAYSHAFT_SIGNAL_CSV_ADD_H
#define LAYSHAFT_SIGNAL_CSV_ADD_H

#include <layshaft/signal.h>

typedef struct lay_csv_addition {
    const lay_run_entry *cells;
    size_t count;
    bool only_check;                                   /* nothing is written */
    bool (*same)(const char *name, const char *other); /* whether two names mean one column */
    /* Whether the whole new table is good; what it refuses is not written. */
    lay_status (*check)(const char *text, size_t length, const char *path, lay_error *err);
} lay_csv_addition;

/* See lay_run_table_add. */
lay_status lay_csv_add(const char *path, const lay_csv_addition *add, lay_error *err);

#endif
