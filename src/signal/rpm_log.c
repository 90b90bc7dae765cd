/* Reading an rpm log: the headings, then row by row. */
#include "csv_lines.h"
#include "csv_scan.h"
#include "log_check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { MOST_READINGS = 4000000, MOST_LINES_BEFORE = 1000 };

typedef struct log_reader {
    lay_csv_lines lines;
    lay_log_draft draft;
    bool decimal_comma;
    double last, day; /* time of the last reading; seconds of midnights passed */
    size_t averaged;  /* readings in the last one */
} log_reader;

/* ---- the headings ---- */

static bool is_reading(lay_slice field, bool decimal_comma) {
    lay_log_time_kind kind;
    double value;
    return lay_log_time(field, decimal_comma, &kind, &value);
}

/* Two or more numbers or times and nothing else: the data have begun. */
static bool is_data(const char *line) {
    char separator = lay_csv_separator(line);
    const char *cursor = line;
    lay_slice field;
    int readings = 0;
    while (lay_csv_field_next(&cursor, separator, &field)) {
        if (field.length == 0) continue;
        if (!is_reading(field, separator != ',')) return false;
        readings++;
    }
    return readings >= 2;
}

static void list_names(const char *line, char separator, lay_text *out) {
    const char *cursor = line;
    lay_slice field;
    for (int n = 0; n < 12 && lay_csv_field_next(&cursor, separator, &field);) {
        if (field.length == 0) continue;
        lay_text_add(out, "%s'%.*s'", n++ > 0 ? ", " : "", (int)(field.length < 30 ? field.length : 30), field.text);
    }
    if (cursor != NULL) lay_text_add(out, ", ...");
}

/* `line` is the likeliest line of headings, NULL when the data begin at once. */
static lay_status fail_headings(const log_reader *r, const char *line, int number, lay_error *err) {
    const char *path = r->lines.path;
    if (line == NULL || line[0] == 0)
        return lay_fail_at(err, LAY_BAD_INPUT, path, r->lines.line, 1, 0, "",
                           "no headings stand above the readings; add a first line such as time [s],rpm");
    lay_log_columns c;
    lay_text names = {0};
    lay_log_header(line, &c);
    list_names(line, c.separator, &names);
    lay_status status = names.failed
                            ? lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the rpm log")
                            : lay_fail_at(err, LAY_BAD_INPUT, path, number, 1, 0, line,
                                          "no column of %s among the headings %s; rename the one that is meant to `%s`",
                                          c.time < 0 ? "time" : "rpm", names.text, c.time < 0 ? "time [s]" : "rpm");
    lay_text_free(&names);
    return status;
}

static bool take_header(log_reader *r, const char *line) {
    while (*line == '#' || *line == '%' || *line == ' ') line++;
    lay_log_header(line, &r->draft.columns);
    return r->draft.columns.time >= 0 && r->draft.columns.rpm >= 0;
}

/* A line with more cells is likelier to be the headings than one with fewer. */
static void remember(const char *line, char *best, size_t size, int *width, int number, int *best_number) {
    lay_log_columns c;
    lay_log_header(line, &c);
    if (c.width < *width || lay_csv_is_note(line)) return;
    snprintf(best, size, "%s", line);
    *width = c.width;
    *best_number = number;
}

static lay_status find_header(log_reader *r, lay_error *err) {
    char *line, best[400] = "";
    size_t length;
    int width = 0, number = 0;
    lay_status status;
    while ((status = lay_csv_lines_next(&r->lines, &line, &length, err)) == LAY_OK && line != NULL) {
        if (take_header(r, line)) {
            r->decimal_comma = r->draft.columns.separator != ',';
            r->draft.heading_line = r->lines.line;
            return LAY_OK;
        }
        if (lay_csv_is_note(line)) continue;
        if (is_data(line) || r->lines.line > MOST_LINES_BEFORE)
            return fail_headings(r, number > 0 ? best : NULL, number, err);
        remember(line, best, sizeof best, &width, r->lines.line, &number);
    }
    if (status != LAY_OK) return status;
    if (number > 0) return fail_headings(r, best, number, err);
    return lay_fail_file(err, LAY_BAD_INPUT, r->lines.path, "this rpm log is empty; export it again");
}

/* ---- one row ---- */

static lay_status fail_cell(const log_reader *r, const char *line, lay_slice cell, const char *why, lay_error *err) {
    int span = cell.length > 0 ? (int)cell.length : 1;
    return lay_fail_at(err, LAY_BAD_INPUT, r->lines.path, r->lines.line, (int)(cell.text - line) + 1, span, line, "%s",
                       why);
}

/* The two cells of a row; empty where the row is too short. */
static lay_status find_cells(const log_reader *r, const char *line, lay_slice *time, lay_slice *rpm, lay_error *err) {
    const lay_log_columns *c = &r->draft.columns;
    const char *cursor = line;
    lay_slice field;
    *time = *rpm = (lay_slice){.text = line, .length = 0};
    for (int i = 0; lay_csv_field_next(&cursor, c->separator, &field); i++) {
        if (i == c->time) *time = field;
        if (i == c->rpm) *rpm = field;
        if (i >= c->width && field.length > 0)
            return fail_cell(r, line, field,
                             "this row has more cells than there are headings; with decimal commas the columns must be "
                             "separated by semicolons",
                             err);
    }
    return LAY_OK;
}

/* What loggers write where they have no reading. */
static bool is_no_reading(lay_slice cell) {
    static const char *const words[] = {"-",    "--",   "---",     "?",      "n/a",    "na",
                                        "null", "none", "no data", "nodata", "invalid"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strlen(words[i]) == cell.length && strncasecmp(words[i], cell.text, cell.length) == 0) return true;
    return cell.length == 0;
}

/* Codes for "not available" that some loggers hand on as numbers: all bits set in the steps of 1/4 and 1/8 rpm of the
 * vehicle's own data (SAE J1979 and J1939, values from memory of the standards). */
static bool is_code(double rpm) {
    return rpm == 16383.75 || rpm == 8191.875;
}

static void note(lay_log_trouble *trouble, int line) {
    if (trouble->count++ == 0) trouble->line = line;
}

static lay_status push(log_reader *r, double time, double rpm, lay_error *err) {
    lay_log_draft *d = &r->draft;
    if (d->count >= MOST_READINGS)
        return lay_fail_at(err, LAY_BAD_INPUT, d->path, r->lines.line, 1, 0, "",
                           "the log has more than %d readings; cut out the part that goes with the recording",
                           MOST_READINGS);
    lay_status status = lay_grow((void **)&d->time, &d->time_capacity, d->count, sizeof *d->time, err);
    if (status == LAY_OK) status = lay_grow((void **)&d->rpm, &d->rpm_capacity, d->count, sizeof *d->rpm, err);
    if (status != LAY_OK) return status;
    d->time[d->count] = r->last = time;
    d->rpm[d->count++] = rpm;
    r->averaged = 1;
    return LAY_OK;
}

static lay_status add_reading(log_reader *r, double time, double rpm, lay_error *err) {
    lay_log_draft *d = &r->draft;
    d->rows++;
    if (!(rpm >= 0 && rpm <= LAY_LOG_MOST_RPM)) {
        note(&d->absurd, r->lines.line);
        return LAY_OK;
    }
    if (d->kind == LAY_LOG_TIME_CLOCK) {
        if (d->count > 0 && time + r->day < r->last - 43200) r->day += 86400;
        time += r->day;
    }
    if (d->count > 0 && time < r->last) {
        note(&d->backward, r->lines.line);
        return LAY_OK;
    }
    if (d->count == 0 || time > r->last) return push(r, time, rpm, err);
    note(&d->repeated, r->lines.line);
    r->averaged++;
    d->rpm[d->count - 1] += (rpm - d->rpm[d->count - 1]) / (double)r->averaged;
    return LAY_OK;
}

static lay_status read_row(log_reader *r, const char *line, lay_error *err) {
    lay_slice time_cell, rpm_cell;
    lay_log_time_kind kind;
    double time, rpm, unit = r->draft.columns.rpm_unit;
    lay_status status = find_cells(r, line, &time_cell, &rpm_cell, err);
    if (status != LAY_OK) return status;
    if (is_no_reading(rpm_cell) || is_no_reading(time_cell)) return LAY_OK;
    if (!lay_csv_number(rpm_cell, r->decimal_comma, &rpm, NULL))
        return fail_cell(r, line, rpm_cell, "this is not a number; correct it or empty the cell", err);
    if (!isfinite(rpm) || is_code(rpm)) return LAY_OK;
    if (!lay_log_time(time_cell, r->decimal_comma, &kind, &time))
        return fail_cell(r, line, time_cell,
                         "this is not a time; write seconds, hh:mm:ss.sss or an ISO 8601 date and time", err);
    if (r->draft.rows == 0) r->draft.kind = kind;
    if (kind != r->draft.kind)
        return fail_cell(r, line, time_cell, "this time is written in another way than those above it", err);
    return add_reading(r, time, unit > 0 ? rpm * unit : rpm, err);
}

/* A second line of headings may hold the units; true when it does. */
static bool take_units(log_reader *r, const char *line) {
    lay_slice time, rpm;
    lay_log_columns *c = &r->draft.columns;
    if (find_cells(r, line, &time, &rpm, NULL) != LAY_OK) return false;
    double time_unit = lay_log_time_unit(time), rpm_unit = lay_log_rpm_unit(rpm);
    if (time_unit > 0) c->time_unit = time_unit;
    if (rpm_unit > 0) c->rpm_unit = rpm_unit;
    return time_unit > 0 || rpm_unit > 0;
}

static lay_status read_rows(log_reader *r, lay_error *err) {
    char *line;
    size_t length;
    lay_status status;
    while ((status = lay_csv_lines_next(&r->lines, &line, &length, err)) == LAY_OK && line != NULL) {
        if (lay_csv_is_note(line)) continue;
        if (r->lines.line == r->draft.heading_line + 1 && take_units(r, line)) continue;
        status = read_row(r, line, err);
        if (status != LAY_OK) return status;
    }
    return status;
}

/* ---- the log ---- */

void lay_rpm_log_free(lay_rpm_log *log) {
    if (log == NULL) return;
    free(log->time);
    free(log->rpm);
    *log = (lay_rpm_log){0};
}

lay_status lay_rpm_log_load(const char *path, lay_rpm_log *out, lay_text *warnings, lay_error *err) {
    log_reader r = {.draft = {.path = path}};
    *out = (lay_rpm_log){0};
    lay_status status = lay_csv_lines_open(&r.lines, path, err);
    if (status == LAY_OK) status = find_header(&r, err);
    if (status == LAY_OK) status = read_rows(&r, err);
    if (status == LAY_OK) status = lay_log_check(&r.draft, &out->step_s, warnings, err);
    out->time = r.draft.time;
    out->rpm = r.draft.rpm;
    out->count = r.draft.count;
    if (status != LAY_OK) lay_rpm_log_free(out);
    lay_csv_lines_close(&r.lines);
    return status;
}
