/* A row for a new recording in runs.csv. */
#include "csv_add.h"
#include "run_fields.h"

#include <strings.h>

static bool same_column(const char *name, const char *other) {
    int column = lay_run_column(name);
    return column >= 0 ? column == lay_run_column(other) : strcasecmp(name, other) == 0;
}

static lay_status check(const char *text, size_t length, const char *path, lay_error *err) {
    lay_run_table table;
    lay_status status = lay_run_table_parse(text, length, path, &table, err);
    lay_run_table_free(&table);
    return status;
}

lay_status lay_run_table_takes(const char *path, const lay_run_entry *cells, size_t count, lay_error *err) {
    const lay_csv_addition add = {
        .cells = cells, .count = count, .only_check = true, .same = same_column, .check = check};
    return lay_csv_add(path, &add, err);
}

lay_status lay_run_table_add(const char *path, const lay_run_entry *cells, size_t count, lay_error *err) {
    const lay_csv_addition add = {.cells = cells, .count = count, .same = same_column, .check = check};
    return lay_csv_add(path, &add, err);
}
