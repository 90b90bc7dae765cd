/* A new row in a table in CSV, put there so that nothing else in the file changes. */
#include "csv_add.h"

#include "csv_table.h"

#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/file.h>
#include <unistd.h>

static const size_t longest_table = (size_t)16 << 20; /* bytes, as for reading */

/* The table as it stands: the header ends at `header`, and what follows begins with its line end. */
typedef struct standing_table {
    char *text;
    size_t length, header;
    char separator;
    const char *line_end;
    int *cell_of_column; /* [columns] index of the new cell that belongs there, -1: none */
    size_t columns;
} standing_table;

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to add to a table");
}

/* ---- what is there ---- */

static int cell_for(const char *name, const lay_csv_addition *add) {
    for (size_t i = 0; i < add->count; i++)
        if (add->same(name, add->cells[i].column)) return (int)i;
    return -1;
}

static lay_status read_header(standing_table *t, const char *path, const lay_csv_addition *add, lay_error *err) {
    lay_csv_table csv = {0};
    lay_csv_row row = {0};
    lay_status status = lay_csv_table_open(&csv, t->text, t->length, path, err);
    if (status == LAY_OK) status = lay_csv_table_next(&csv, &row, err);
    if (status == LAY_OK && row.count > 0) {
        size_t mark = t->length - csv.length; /* a byte order mark */
        t->header = mark + csv.at;
        while (t->header > 0 && strchr("\r\n", t->text[t->header - 1])) t->header--;
        t->separator = csv.separator;
        t->line_end = strncmp(t->text + t->header, "\r\n", 2) == 0 ? "\r\n" : "\n";
        t->columns = row.count;
        t->cell_of_column = lay_calloc(row.count, sizeof *t->cell_of_column);
        if (!t->cell_of_column) status = no_memory(err);
        for (size_t i = 0; status == LAY_OK && i < row.count; i++)
            t->cell_of_column[i] = cell_for(row.fields[i].text, add);
    }
    free(row.fields);
    lay_csv_table_close(&csv);
    return status;
}

/* A table that cannot be read is not added to: its error comes before the recording, not after. */
static lay_status read_standing(standing_table *t, const char *path, const lay_csv_addition *add, lay_error *err) {
    *t = (standing_table){.separator = ',', .line_end = "\n"};
    if (access(path, F_OK) != 0) return LAY_OK;
    lay_status status = lay_read_file(path, longest_table, &t->text, &t->length, err);
    return status == LAY_OK ? read_header(t, path, add, err) : status;
}

static void standing_free(standing_table *t) {
    free(t->text);
    free(t->cell_of_column);
}

/* ---- what is to be there ---- */

static void add_cell(lay_text *out, const char *value, char separator) {
    size_t length = strlen(value);
    bool plain = length == 0 || (!strchr(" \t#", value[0]) && !strchr(" \t", value[length - 1]));
    for (const char *c = value; *c; c++) plain = plain && *c != separator && !strchr("\"\r\n,;\t", *c);
    if (plain) {
        lay_text_add(out, "%s", value);
        return;
    }
    lay_text_add(out, "\"");
    for (const char *c = value; *c; c++) lay_text_add(out, *c == '"' ? "\"\"" : "%c", *c);
    lay_text_add(out, "\"");
}

static bool is_new(const standing_table *t, size_t cell) {
    for (size_t i = 0; i < t->columns; i++)
        if (t->cell_of_column[i] == (int)cell) return false;
    return true;
}

static void end_line(const standing_table *t, lay_text *out) {
    if (out->length > 0 && !strchr("\r\n", out->text[out->length - 1])) lay_text_add(out, "%s", t->line_end);
}

static void add_header(const standing_table *t, const lay_csv_addition *add, lay_text *out) {
    bool first = t->columns == 0; /* nothing is there yet, or nothing but notes */
    if (t->text) lay_text_add(out, "%.*s", (int)(first ? t->length : t->header), t->text);
    if (first) end_line(t, out);
    for (size_t i = 0; i < add->count; i++) {
        if (!is_new(t, i)) continue;
        if (!first) lay_text_add(out, "%c", t->separator);
        add_cell(out, add->cells[i].column, t->separator);
        first = false;
    }
    if (t->columns > 0) lay_text_add(out, "%s", t->text + t->header);
    end_line(t, out);
}

static void add_row(const standing_table *t, const lay_csv_addition *add, lay_text *out) {
    bool first = true;
    for (size_t i = 0; i < t->columns; i++) {
        if (!first) lay_text_add(out, "%c", t->separator);
        int cell = t->cell_of_column[i];
        if (cell >= 0) add_cell(out, add->cells[cell].value, t->separator);
        first = false;
    }
    for (size_t i = 0; i < add->count; i++) {
        if (!is_new(t, i)) continue;
        if (!first) lay_text_add(out, "%c", t->separator);
        add_cell(out, add->cells[i].value, t->separator);
        first = false;
    }
    lay_text_add(out, "%s", t->line_end);
}

static lay_status write_new(const standing_table *t, const char *path, const lay_csv_addition *add, lay_error *err) {
    lay_text out = {0};
    add_header(t, add, &out);
    add_row(t, add, &out);
    lay_status status = out.failed ? no_memory(err) : add->check(out.text, out.length, path, err);
    if (status == LAY_OK && !add->only_check) status = lay_write_file(path, out.text, out.length, err);
    lay_text_free(&out);
    return status;
}

/* Two programs that add at once take turns; where the file system knows no locks they do without. */
static int lock_folder(const char *path) {
    char *folder = lay_strdup(path);
    char *slash = folder ? strrchr(folder, '/') : NULL;
    if (slash) slash[slash == folder ? 1 : 0] = 0;
    int lock = open(slash ? folder : ".", O_RDONLY);
    if (lock >= 0) flock(lock, LOCK_EX);
    free(folder);
    return lock;
}

lay_status lay_csv_add(const char *path, const lay_csv_addition *add, lay_error *err) {
    standing_table t;
    int lock = lock_folder(path);
    lay_status status = read_standing(&t, path, add, err);
    if (status == LAY_OK) status = write_new(&t, path, add, err);
    standing_free(&t);
    if (lock >= 0) close(lock);
    return status;
}
