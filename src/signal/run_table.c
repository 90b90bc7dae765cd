/* Reading runs.csv: header, rows, and what must hold between the cells of a row. */
#include "run_fields.h"
#include "run_values.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const size_t longest_table = (size_t)16 << 20; /* bytes */
enum { NOTE = -1 };

/* ---- one run ---- */

void lay_run_spec_free(lay_run_spec *run) {
    if (run == NULL) return;
    free(run->file);
    free(run->path);
    free(run->gear);
    free(run->tach_on);
    free(run->rpm_log);
    free(run->channels);
    free(run->gains);
    free(run->notes);
    *run = (lay_run_spec){0};
}

/* Everything but the file; full_scale 0 stands for "not stated" until the row is complete. */
static lay_status set_defaults(lay_run_spec *run, lay_error *err) {
    *run = (lay_run_spec){.pulses_per_rev = 1};
    char **texts[] = {&run->file, &run->path, &run->gear, &run->tach_on, &run->rpm_log, &run->notes};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if ((*texts[i] = lay_strdup("")) == NULL)
            return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    return LAY_OK;
}

lay_status lay_run_spec_default(const char *file, lay_run_spec *out, lay_error *err) {
    lay_status status = set_defaults(out, err);
    if (status == LAY_OK) {
        free(out->file);
        free(out->path);
        out->file = lay_strdup(file);
        out->path = lay_strdup(file);
        out->full_scale = 1;
        if (out->file == NULL || out->path == NULL)
            status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to name a recording");
    }
    if (status != LAY_OK) lay_run_spec_free(out);
    return status;
}

/* ---- the header ---- */

typedef struct table_reader {
    lay_csv_table csv;
    lay_csv_row row;
    char *folder;
    int *columns;      /* [width] index of the known column or NOTE */
    char **note_names; /* [width] name where columns[i] is NOTE */
    size_t width;
    lay_run_table *table;
    size_t capacity;
} table_reader;

static lay_run_cell cell_of(const table_reader *r, const lay_csv_field *field) {
    return (lay_run_cell){
        .field = field, .file = r->csv.file, .folder = r->folder, .decimal_comma = r->csv.separator != ','};
}

static lay_status read_name(table_reader *r, size_t i, lay_error *err) {
    lay_run_cell cell = cell_of(r, &r->row.fields[i]);
    const char *name = cell.field->text;
    r->columns[i] = lay_run_column(name);
    for (size_t j = 0; r->columns[i] != NOTE && j < i; j++)
        if (r->columns[j] == r->columns[i])
            return lay_run_cell_fail(&cell, err, "there are two columns '%s'; keep one",
                                     lay_run_column_name(r->columns[i]));
    if (r->columns[i] != NOTE) return LAY_OK;
    const char *near = lay_run_column_near(name);
    if (near != NULL)
        return lay_run_cell_fail(&cell, err, "no column is called '%.60s' (did you mean '%s'?)", name, near);
    r->note_names[i] = lay_strdup(name);
    return r->note_names[i] != NULL ? LAY_OK
                                    : lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
}

static lay_status read_header(table_reader *r, lay_error *err) {
    lay_status status = lay_csv_table_next(&r->csv, &r->row, err);
    if (status != LAY_OK) return status;
    if (r->row.count == 0)
        return lay_fail_file(
            err, LAY_BAD_INPUT, r->csv.file,
            "the table of runs is empty; its first line names the columns, such as file,gear,load,rpm");
    r->columns = lay_calloc(r->row.count, sizeof *r->columns);
    r->note_names = lay_calloc(r->row.count, sizeof *r->note_names);
    if (r->columns == NULL || r->note_names == NULL)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    r->width = r->row.count;
    bool has_file = false;
    for (size_t i = 0; i < r->width; i++) {
        status = read_name(r, i, err);
        if (status != LAY_OK) return status;
        has_file = has_file || r->columns[i] == lay_run_column("file");
    }
    lay_run_cell first = cell_of(r, &r->row.fields[0]);
    return has_file ? LAY_OK
                    : lay_run_cell_fail(&first, err,
                                        "no column is called 'file'; the first line names the columns, such as "
                                        "file,gear,load,rpm");
}

/* ---- rows ---- */

static const lay_csv_field *field_of(const table_reader *r, int column) {
    for (size_t i = 0; i < r->width && i < r->row.count; i++)
        if (r->columns[i] == column && r->row.fields[i].text[0] != 0) return &r->row.fields[i];
    return NULL;
}

static bool is_empty_row(const lay_csv_row *row) {
    for (size_t i = 0; i < row->count; i++)
        if (row->fields[i].text[0] != 0) return false;
    return true;
}

static lay_status check_width(const table_reader *r, lay_error *err) {
    for (size_t i = r->width; i < r->row.count; i++) {
        lay_run_cell cell = cell_of(r, &r->row.fields[i]);
        if (cell.field->text[0] != 0)
            return lay_run_cell_fail(&cell, err,
                                     "this row has more cells than there are columns; put text that contains '%c' into "
                                     "quotation marks",
                                     r->csv.separator == '\t' ? ' ' : r->csv.separator);
    }
    return LAY_OK;
}

/* The cell that contradicts, with the column it stands in. */
static lay_status fail_column(const table_reader *r, const char *column, const char *why, lay_error *err) {
    const lay_csv_field *field = field_of(r, lay_run_column(column));
    lay_run_cell cell = cell_of(r, field != NULL ? field : &r->row.fields[0]);
    return lay_run_cell_fail(&cell, err, "%s", why);
}

static lay_status check_row(const table_reader *r, lay_run_spec *run, lay_error *err) {
    if (run->file[0] == 0) return fail_column(r, "file", "this row names no file; add it or remove the row", err);
    if (run->full_scale > 0 && run->quantity == LAY_FULL_SCALE)
        return fail_column(r, "full_scale", "full_scale needs a unit: m/s2, mm/s2, g or Pa in column `unit`", err);
    if (run->full_scale == 0) run->full_scale = 1;
    if ((run->sensor == LAY_SENSOR_MIC && run->quantity == LAY_ACCELERATION) ||
        (run->sensor == LAY_SENSOR_ACCEL && run->quantity == LAY_PRESSURE))
        return fail_column(r, "unit", "a mic measures Pa and an accel m/s2; correct the sensor or the unit", err);
    if (run->sensor == LAY_SENSOR_UNKNOWN && run->quantity == LAY_ACCELERATION) run->sensor = LAY_SENSOR_ACCEL;
    if (run->sensor == LAY_SENSOR_UNKNOWN && run->quantity == LAY_PRESSURE) run->sensor = LAY_SENSOR_MIC;
    if (run->gain_count > 0 && run->channel_count > 0 && run->gain_count != run->channel_count)
        return fail_column(r, "full_scale", "full_scale must be one number, or one for each of the channels", err);
    for (size_t i = 0; i < run->channel_count; i++)
        if (run->channels[i] == run->tach_channel)
            return fail_column(r, "channel", "this channel is the tach; name the channels of the sensors only", err);
    return LAY_OK;
}

static lay_status read_notes(const table_reader *r, lay_run_spec *run, lay_error *err) {
    lay_text notes = {0};
    for (size_t i = 0; i < r->width && i < r->row.count; i++) {
        if (r->columns[i] != NOTE || r->row.fields[i].text[0] == 0) continue;
        lay_text_add(&notes, "%s%s=%s", notes.length > 0 ? "; " : "", r->note_names[i], r->row.fields[i].text);
    }
    if (notes.failed) {
        lay_text_free(&notes);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    }
    if (notes.text == NULL) return LAY_OK;
    free(run->notes);
    run->notes = notes.text;
    return LAY_OK;
}

static lay_status read_run(const table_reader *r, lay_run_spec *run, lay_error *err) {
    lay_status status = set_defaults(run, err);
    run->line = r->row.fields[0].line;
    for (int column = 0; status == LAY_OK && column < lay_run_column_count(); column++) {
        const lay_csv_field *field = field_of(r, column);
        if (field == NULL) continue;
        lay_run_cell cell = cell_of(r, field);
        status = lay_run_column_read(column, &cell, run, err);
    }
    if (status == LAY_OK) status = check_row(r, run, err);
    if (status == LAY_OK) status = read_notes(r, run, err);
    return status;
}

static lay_status read_rows(table_reader *r, lay_error *err) {
    lay_run_table *table = r->table;
    for (;;) {
        lay_status status = lay_csv_table_next(&r->csv, &r->row, err);
        if (status == LAY_OK && r->row.count == 0) break;
        if (status == LAY_OK && is_empty_row(&r->row)) continue;
        if (status == LAY_OK) status = check_width(r, err);
        if (status == LAY_OK)
            status = lay_grow((void **)&table->runs, &r->capacity, table->count, sizeof *table->runs, err);
        if (status != LAY_OK) return status;
        status = read_run(r, &table->runs[table->count++], err);
        if (status != LAY_OK) return status;
    }
    if (table->count == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, r->csv.file,
                             "the table names no recordings; add a row for each of them");
    return LAY_OK;
}

/* ---- the table ---- */

/* The part of `path` before its last slash; "" when there is none. */
static char *folder_of(const char *path) {
    const char *slash = strrchr(path, '/');
    char *folder = lay_strdup(path);
    if (folder != NULL) folder[slash == NULL ? 0 : slash == path ? 1 : slash - path] = 0;
    return folder;
}

static void reader_free(table_reader *r) {
    for (size_t i = 0; i < r->width; i++) free(r->note_names[i]);
    free(r->note_names);
    free(r->columns);
    free(r->folder);
    free(r->row.fields);
    lay_csv_table_close(&r->csv);
}

lay_status lay_run_table_parse(const char *text, size_t length, const char *path, lay_run_table *out, lay_error *err) {
    table_reader r = {.table = out};
    *out = (lay_run_table){.path = lay_strdup(path)};
    r.folder = folder_of(path);
    lay_status status = out->path != NULL && r.folder != NULL
                            ? lay_csv_table_open(&r.csv, text, length, path, err)
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    if (status == LAY_OK) status = read_header(&r, err);
    if (status == LAY_OK) status = read_rows(&r, err);
    reader_free(&r);
    if (status != LAY_OK) lay_run_table_free(out);
    return status;
}

lay_status lay_run_table_load(const char *path, lay_run_table *out, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = (lay_run_table){0};
    lay_status status = lay_read_file(path, longest_table, &text, &length, err);
    if (status == LAY_OK) status = lay_run_table_parse(text, length, path, out, err);
    free(text);
    return status;
}

void lay_run_table_free(lay_run_table *table) {
    if (table == NULL) return;
    for (size_t i = 0; i < table->count; i++) lay_run_spec_free(&table->runs[i]);
    free(table->runs);
    free(table->path);
    *table = (lay_run_table){0};
}
