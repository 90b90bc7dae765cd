/* Limits by hand: a part, a gear, a load and the highest level in each row. */
#include "csv_named.h"

#include <layshaft/signal.h>

#include <stdlib.h>

typedef enum column { PART, GEAR, LOAD, LIMIT, COLUMNS } column;
static const char *const names[COLUMNS] = {"part", "gear", "load", "limit_db"};

static const size_t longest_table = (size_t)4 << 20; /* bytes */

static lay_status read_row(const lay_csv_named *r, lay_limit_table *t, lay_error *err) {
    lay_limit_row row = {.load = LAY_LOAD_UNKNOWN, .line = r->row.fields[0].line};
    const char *load = lay_csv_named_text(r, LOAD);
    if (!lay_csv_named_text(r, PART)[0]) return lay_csv_named_fail(r, PART, "the name of a part is missing", err);
    if (!lay_parse_number(lay_csv_named_text(r, LIMIT), &row.limit_db) || !(row.limit_db > -300 && row.limit_db < 300))
        return lay_csv_named_fail(r, LIMIT, "a limit is a level in dB, such as 82.5", err);
    if (load[0] && !lay_load_parse(load, &row.load))
        return lay_csv_named_fail(r, LOAD, "a load is one of drive, coast, steady, none", err);
    lay_status status = lay_grow((void **)&t->rows, &t->capacity, t->count, sizeof *t->rows, err);
    if (status != LAY_OK) return status;
    row.part = lay_strdup(lay_csv_named_text(r, PART));
    row.gear = lay_strdup(lay_csv_named_text(r, GEAR));
    t->rows[t->count++] = row;
    return row.part && row.gear ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

lay_status lay_limit_table_parse(const char *text, size_t length, const char *path, lay_limit_table *out,
                                 lay_error *err) {
    *out = (lay_limit_table){.path = lay_strdup(path)};
    lay_csv_named r = {0};
    lay_status status = out->path ? lay_csv_named_open(&r, text, length, path, names, COLUMNS, err)
                                  : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && (r.place[PART] < 0 || r.place[LIMIT] < 0))
        status = lay_fail_file(err, LAY_BAD_INPUT, path,
                               "a table of limits needs the columns 'part' and 'limit_db' in its first line");
    while (status == LAY_OK) {
        status = lay_csv_named_next(&r, err);
        if (status != LAY_OK || r.row.count == 0) break;
        status = read_row(&r, out, err);
    }
    if (status == LAY_OK && out->count == 0)
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "the table holds no limit");
    lay_csv_named_close(&r);
    if (status != LAY_OK) lay_limit_table_free(out);
    return status;
}

lay_status lay_limit_table_load(const char *path, lay_limit_table *out, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = (lay_limit_table){0};
    lay_status status = lay_read_file(path, longest_table, &text, &length, err);
    if (status == LAY_OK) status = lay_limit_table_parse(text, length, path, out, err);
    free(text);
    return status;
}

void lay_limit_table_free(lay_limit_table *table) {
    if (!table) return;
    for (size_t i = 0; i < table->count; i++) {
        free(table->rows[i].part);
        free(table->rows[i].gear);
    }
    free(table->rows);
    free(table->path);
    *table = (lay_limit_table){0};
}
