/* Limits by hand: a part, a gear, a load and the highest level in each row. */
#include "csv_table.h"

#include <layshaft/signal.h>

#include <stdlib.h>
#include <string.h>
#include <strings.h>

typedef enum column { PART, GEAR, LOAD, LIMIT, COLUMNS } column;
static const char *const names[COLUMNS] = {"part", "gear", "load", "limit_db"};

static const size_t longest_table = (size_t)4 << 20; /* bytes */

typedef struct reader {
    lay_csv_table csv;
    lay_csv_row row;
    int place[COLUMNS]; /* -1: not there */
    lay_limit_table *out;
} reader;

static lay_status read_header(reader *r, lay_error *err) {
    lay_status status = lay_csv_table_next(&r->csv, &r->row, err);
    if (status != LAY_OK) return status;
    for (size_t k = 0; k < COLUMNS; k++) {
        r->place[k] = -1;
        for (size_t i = 0; i < r->row.count; i++)
            if (strcasecmp(r->row.fields[i].text, names[k]) == 0) r->place[k] = (int)i;
    }
    if (r->place[PART] < 0 || r->place[LIMIT] < 0)
        return lay_fail_file(err, LAY_BAD_INPUT, r->csv.file,
                             "a table of limits needs the columns 'part' and 'limit_db' in its first line");
    return LAY_OK;
}

static const lay_csv_field *field_of(const reader *r, column k) {
    int place = r->place[k];
    return place >= 0 && (size_t)place < r->row.count ? &r->row.fields[place] : NULL;
}

static const char *text_of(const reader *r, column k) {
    const lay_csv_field *f = field_of(r, k);
    return f ? f->text : "";
}

static lay_status fail_cell(const reader *r, column k, const char *why, lay_error *err) {
    const lay_csv_field *f = field_of(r, k) ? field_of(r, k) : &r->row.fields[0];
    return lay_fail_at(err, LAY_BAD_INPUT, r->csv.file, f->line, f->column, f->span, f->line_start, "%s", why);
}

static lay_status read_row(reader *r, lay_error *err) {
    lay_limit_table *t = r->out;
    lay_limit_row row = {.load = LAY_LOAD_UNKNOWN, .line = r->row.fields[0].line};
    if (!text_of(r, PART)[0]) return fail_cell(r, PART, "the name of a part is missing", err);
    if (!lay_parse_number(text_of(r, LIMIT), &row.limit_db) || !(row.limit_db > -300 && row.limit_db < 300))
        return fail_cell(r, LIMIT, "a limit is a level in dB, such as 82.5", err);
    if (text_of(r, LOAD)[0] && !lay_load_parse(text_of(r, LOAD), &row.load))
        return fail_cell(r, LOAD, "a load is one of drive, coast, steady, none", err);
    lay_status status = lay_grow((void **)&t->rows, &t->capacity, t->count, sizeof *t->rows, err);
    if (status != LAY_OK) return status;
    row.part = lay_strdup(text_of(r, PART));
    row.gear = lay_strdup(text_of(r, GEAR));
    t->rows[t->count++] = row;
    return row.part && row.gear ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

lay_status lay_limit_table_parse(const char *text, size_t length, const char *path, lay_limit_table *out,
                                 lay_error *err) {
    *out = (lay_limit_table){.path = lay_strdup(path)};
    reader r = {.out = out};
    lay_status status = out->path ? lay_csv_table_open(&r.csv, text, length, path, err)
                                  : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK) status = read_header(&r, err);
    while (status == LAY_OK) {
        status = lay_csv_table_next(&r.csv, &r.row, err);
        if (status != LAY_OK || r.row.count == 0) break;
        status = read_row(&r, err);
    }
    if (status == LAY_OK && out->count == 0)
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "the table holds no limit");
    free(r.row.fields);
    lay_csv_table_close(&r.csv);
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
