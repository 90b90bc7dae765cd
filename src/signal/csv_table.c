/* Small tables in CSV with quoting: comma, semicolon or tab separated, held in memory.
 *
 * [RFC4180] Y. Shafranovich, Common format and MIME type for CSV files, 2005, section 2: fields with separators, line
 * ends or quotation marks stand in quotation marks; a quotation mark inside is doubled. */
#include "csv_table.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

/* ---- opening ---- */

/* The separator that stands most often in the first line that says something. */
static char find_separator(const char *text) {
    static const char candidates[] = {',', ';', '\t'};
    size_t counts[3] = {0};
    bool quoted = false, any = false, note = false;
    for (; *text != 0; text++) {
        if ((*text == '\n' || *text == '\r') && !quoted) {
            if (any) break;
            note = false;
            continue;
        }
        if (*text == '#' && !any) note = true;
        if (note) continue;
        if (*text != ' ' && *text != '\t') any = true;
        if (*text == '"') quoted = !quoted;
        for (int i = 0; !quoted && i < 3; i++) counts[i] += *text == candidates[i];
    }
    int best = 0;
    for (int i = 1; i < 3; i++)
        if (counts[i] > counts[best]) best = i;
    return candidates[best];
}

lay_status lay_csv_table_open(lay_csv_table *t, const char *text, size_t length, const char *file, lay_error *err) {
    t->file = file;
    if (length >= INT_MAX) return lay_fail_file(err, LAY_BAD_INPUT, file, "this table is too long");
    if (length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0) {
        text += 3;
        length -= 3;
    }
    if (length > 0 && memchr(text, 0, length) != NULL)
        return lay_fail_file(err, LAY_BAD_INPUT, file, "this is not plain text; save the table as CSV in UTF-8");
    t->source = lay_calloc(length + 1, 1);
    t->values = lay_calloc(length + 1, 1);
    if (t->source == NULL || t->values == NULL)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read a table");
    if (length > 0) memcpy(t->source, text, length);
    t->length = length;
    t->line = 1;
    t->separator = find_separator(t->source);
    return LAY_OK;
}

void lay_csv_table_close(lay_csv_table *t) {
    free(t->source);
    free(t->values);
    *t = (lay_csv_table){0};
}

/* ---- walking ---- */

static bool is_line_end(char c) {
    return c == '\n' || c == '\r' || c == 0;
}

static bool is_blank(char c) {
    return c == ' ' || c == '\t';
}

/* Steps over CR, LF or CR LF. */
static void pass_line_end(lay_csv_table *t) {
    if (t->source[t->at] == '\r' && t->source[t->at + 1] == '\n') t->at++;
    if (t->at < t->length) t->at++;
    t->line++;
    t->line_start = t->at;
}

/* Skips blank lines and notes. */
static void find_row(lay_csv_table *t) {
    while (t->at < t->length) {
        size_t i = t->at;
        while (is_blank(t->source[i]) && t->source[i] != t->separator) i++;
        if (t->source[i] != '#' && !is_line_end(t->source[i])) return;
        while (!is_line_end(t->source[i])) i++;
        t->at = i;
        pass_line_end(t);
    }
}

static lay_status fail_here(const lay_csv_table *t, const lay_csv_field *f, const char *why, lay_error *err) {
    return lay_fail_at(err, LAY_BAD_INPUT, t->file, f->line, f->column, 1, f->line_start, "%s", why);
}

static lay_status read_quoted(lay_csv_table *t, lay_csv_field *field, lay_error *err) {
    char *out = t->values + t->at;
    field->text = out;
    for (t->at++; t->at < t->length; t->at++) {
        char c = t->source[t->at];
        if (c == '"' && t->source[++t->at] != '"') {
            *out = 0;
            while (is_blank(t->source[t->at]) && t->source[t->at] != t->separator) t->at++;
            if (t->source[t->at] == t->separator || is_line_end(t->source[t->at])) return LAY_OK;
            return fail_here(t, field, "text follows the closing quotation mark; double a quotation mark inside text",
                             err);
        }
        *out++ = c;
        if (c == '\n') {
            t->line++;
            t->line_start = t->at + 1;
        }
    }
    return fail_here(t, field, "this quotation mark is never closed; add one at the end of the field", err);
}

static void read_plain(lay_csv_table *t, lay_csv_field *field) {
    size_t start = t->at;
    while (t->source[t->at] != t->separator && !is_line_end(t->source[t->at])) t->at++;
    size_t length = t->at - start;
    while (length > 0 && is_blank(t->source[start + length - 1])) length--;
    memcpy(t->values + start, t->source + start, length);
    t->values[start + length] = 0; /* at most the separator's own place */
    field->text = t->values + start;
}

static lay_status read_field(lay_csv_table *t, lay_csv_field *field, lay_error *err) {
    while (is_blank(t->source[t->at]) && t->source[t->at] != t->separator) t->at++;
    size_t start = t->at;
    *field = (lay_csv_field){
        .line = t->line, .column = (int)(t->at - t->line_start) + 1, .line_start = t->source + t->line_start};
    lay_status status = LAY_OK;
    if (t->source[t->at] == '"')
        status = read_quoted(t, field, err);
    else
        read_plain(t, field);
    field->span = t->line == field->line && t->at > start ? (int)(t->at - start) : 1;
    return status;
}

lay_status lay_csv_table_next(lay_csv_table *t, lay_csv_row *row, lay_error *err) {
    row->count = 0;
    find_row(t);
    bool more = t->at < t->length;
    while (more) {
        lay_status status = lay_grow((void **)&row->fields, &row->capacity, row->count, sizeof *row->fields, err);
        if (status == LAY_OK) status = read_field(t, &row->fields[row->count], err);
        if (status != LAY_OK) return status;
        row->count++;
        more = t->source[t->at] == t->separator;
        if (more)
            t->at++;
        else
            pass_line_end(t);
    }
    return LAY_OK;
}
