#include "csv_named.h"

#include <stdlib.h>
#include <strings.h>

lay_status lay_csv_named_open(lay_csv_named *t, const char *text, size_t length, const char *file,
                              const char *const *names, size_t count, lay_error *err) {
    lay_status status = lay_csv_table_open(&t->csv, text, length, file, err);
    if (status == LAY_OK) status = lay_csv_table_next(&t->csv, &t->row, err);
    for (size_t k = 0; k < count && status == LAY_OK; k++) {
        t->place[k] = -1;
        for (size_t i = 0; i < t->row.count; i++)
            if (strcasecmp(t->row.fields[i].text, names[k]) == 0) t->place[k] = (int)i;
    }
    return status;
}

void lay_csv_named_close(lay_csv_named *t) {
    free(t->row.fields);
    t->row = (lay_csv_row){0};
    lay_csv_table_close(&t->csv);
}

lay_status lay_csv_named_next(lay_csv_named *t, lay_error *err) {
    return lay_csv_table_next(&t->csv, &t->row, err);
}

static const lay_csv_field *field_of(const lay_csv_named *t, size_t column) {
    int place = t->place[column];
    return place >= 0 && (size_t)place < t->row.count ? &t->row.fields[place] : NULL;
}

const char *lay_csv_named_text(const lay_csv_named *t, size_t column) {
    const lay_csv_field *f = field_of(t, column);
    return f ? f->text : "";
}

lay_status lay_csv_named_fail(const lay_csv_named *t, size_t column, const char *why, lay_error *err) {
    const lay_csv_field *f = field_of(t, column) ? field_of(t, column) : &t->row.fields[0];
    return lay_fail_at(err, LAY_BAD_INPUT, t->csv.file, f->line, f->column, f->span, f->line_start, "%s", why);
}
