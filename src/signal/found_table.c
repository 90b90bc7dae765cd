/* What teardowns showed: JOB/found.csv, a row for each part that was looked at. */
#include "csv_add.h"
#include "csv_named.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

typedef enum column { WHEN, PART, BODY, WHAT, NOTE, OUTCOME, NAMED, PROBABILITY, STATE, COLUMNS } column;
static const char *const names[COLUMNS] = {"when",    "part",  "body",        "what", "note",
                                           "outcome", "named", "probability", "state"};

static const size_t longest_table = (size_t)4 << 20; /* bytes */

static const char *const whats[] = {"good",  "teeth",   "run-out", "chip", "waves",   "outer",
                                    "inner", "element", "cage",    "play", "outside", "other"};
_Static_assert(sizeof whats / sizeof whats[0] == LAY_FOUND_COUNT, "a word for each");
static const char *const nameds[] = {"first", "twin", "listed", "no"};
_Static_assert(sizeof nameds / sizeof nameds[0] == LAY_NAMED_COUNT, "a word for each");

const char *lay_found_word(lay_found_what what) {
    return what < LAY_FOUND_COUNT ? whats[what] : "other";
}

const char *lay_named_word(lay_named named) {
    return named < LAY_NAMED_COUNT ? nameds[named] : "no";
}

static int word_among(const char *const *words, int count, const char *word) {
    for (int i = 0; i < count; i++)
        if (strcasecmp(words[i], word) == 0) return i;
    return -1;
}

/* ---- reading ---- */

static bool copy(const lay_csv_named *r, lay_found *f) {
    f->when = lay_strdup(lay_csv_named_text(r, WHEN));
    f->part = lay_strdup(lay_csv_named_text(r, PART));
    f->body = lay_strdup(lay_csv_named_text(r, BODY));
    f->note = lay_strdup(lay_csv_named_text(r, NOTE));
    f->outcome = lay_strdup(lay_csv_named_text(r, OUTCOME));
    f->state = lay_strdup(lay_csv_named_text(r, STATE));
    return f->when && f->part && f->body && f->note && f->outcome && f->state;
}

static lay_status read_row(const lay_csv_named *r, lay_found_table *t, lay_error *err) {
    int what = word_among(whats, LAY_FOUND_COUNT, lay_csv_named_text(r, WHAT));
    int named = word_among(nameds, LAY_NAMED_COUNT, lay_csv_named_text(r, NAMED));
    double probability = NAN;
    if (what < 0)
        return lay_csv_named_fail(r, WHAT,
                                  "what was found is one of good, teeth, run-out, chip, waves, outer, inner, element, "
                                  "cage, play, outside, other",
                                  err);
    if (lay_csv_named_text(r, PROBABILITY)[0] &&
        !(lay_parse_number(lay_csv_named_text(r, PROBABILITY), &probability) && probability >= 0 && probability <= 1))
        return lay_csv_named_fail(r, PROBABILITY, "a probability lies between 0 and 1", err);
    lay_status status = lay_grow((void **)&t->rows, &t->capacity, t->count, sizeof *t->rows, err);
    if (status != LAY_OK) return status;
    lay_found *f = &t->rows[t->count++];
    *f = (lay_found){
        .what = (lay_found_what)what, .named = named < 0 ? LAY_NAMED_NO : (lay_named)named, .probability = probability};
    return copy(r, f) ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static lay_status read_table(const char *text, size_t length, const char *path, lay_found_table *out, lay_error *err) {
    lay_csv_named r = {0};
    lay_status status = lay_csv_named_open(&r, text, length, path, names, COLUMNS, err);
    if (status == LAY_OK && (r.place[PART] < 0 || r.place[WHAT] < 0))
        status =
            lay_fail_file(err, LAY_BAD_INPUT, path, "the table of what was found needs the columns 'part' and 'what'");
    while (status == LAY_OK) {
        status = lay_csv_named_next(&r, err);
        if (status != LAY_OK || r.row.count == 0) break;
        status = read_row(&r, out, err);
    }
    lay_csv_named_close(&r);
    if (status != LAY_OK) lay_found_free(out);
    return status;
}

lay_status lay_found_parse(const char *text, size_t length, const char *path, lay_found_table *out, lay_error *err) {
    *out = (lay_found_table){0};
    return read_table(text, length, path, out, err);
}

lay_status lay_found_load(const char *path, lay_found_table *out, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = (lay_found_table){0};
    if (access(path, F_OK) != 0) return LAY_OK;
    lay_status status = lay_read_file(path, longest_table, &text, &length, err);
    if (status == LAY_OK) status = read_table(text, length, path, out, err);
    free(text);
    return status;
}

void lay_found_free(lay_found_table *table) {
    if (!table) return;
    for (size_t i = 0; i < table->count; i++) {
        lay_found *f = &table->rows[i];
        free(f->when);
        free(f->part);
        free(f->body);
        free(f->note);
        free(f->outcome);
        free(f->state);
    }
    free(table->rows);
    *table = (lay_found_table){0};
}

/* ---- adding ---- */

static bool same(const char *name, const char *other) {
    return strcasecmp(name, other) == 0;
}

static lay_status check(const char *text, size_t length, const char *path, lay_error *err) {
    lay_found_table table = {0};
    lay_status status = read_table(text, length, path, &table, err);
    lay_found_free(&table);
    return status;
}

static const char *or_empty(const char *text) {
    return text ? text : "";
}

lay_status lay_found_add(const char *path, const lay_found *f, lay_error *err) {
    char probability[32] = "";
    if (isfinite(f->probability)) snprintf(probability, sizeof probability, "%.4f", f->probability);
    const char *const values[COLUMNS] = {or_empty(f->when),        or_empty(f->part), or_empty(f->body),
                                         lay_found_word(f->what),  or_empty(f->note), or_empty(f->outcome),
                                         lay_named_word(f->named), probability,       or_empty(f->state)};
    lay_run_entry cells[COLUMNS];
    for (size_t k = 0; k < COLUMNS; k++) cells[k] = (lay_run_entry){names[k], values[k]};
    return lay_csv_add(path, &(lay_csv_addition){.cells = cells, .count = COLUMNS, .same = same, .check = check}, err);
}
