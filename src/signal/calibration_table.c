/* The calibrations of a job: JOB/calibration.csv, a row for each time a channel was calibrated. */
#include "csv_add.h"
#include "csv_table.h"
#include "run_values.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

typedef enum column { CHANNEL, FULL_SCALE, UNIT, DEVICE, WHEN, HZ, STEADY, NOISE, FILE_NAME, COLUMNS } column;
static const char *const names[COLUMNS] = {"channel", "full_scale", "unit",           "device", "when",
                                           "hz",      "steady_db",  "above_noise_db", "file"};
#define NEEDED (WHEN + 1) /* of them; the rest tells what a row rests on */

static const size_t longest_table = (size_t)4 << 20; /* bytes */

/* ---- reading ---- */

typedef struct calibration_reader {
    lay_csv_table csv;
    lay_csv_row row;
    const char *device;
    size_t place[COLUMNS]; /* of the columns in a row */
    lay_calibration *found;
    size_t count, capacity;
} calibration_reader;

static lay_status fail_field(const calibration_reader *r, const lay_csv_field *f, const char *why, lay_error *err) {
    return lay_fail_at(err, LAY_BAD_INPUT, r->csv.file, f->line, f->column, f->span, f->line_start, "%s", why);
}

static lay_status read_header(calibration_reader *r, lay_error *err) {
    lay_status status = lay_csv_table_next(&r->csv, &r->row, err);
    if (status != LAY_OK) return status;
    for (size_t k = 0; k < NEEDED; k++) {
        size_t i = 0;
        while (i < r->row.count && strcasecmp(r->row.fields[i].text, names[k]) != 0) i++;
        if (i == r->row.count)
            return lay_fail_file(err, LAY_BAD_INPUT, r->csv.file,
                                 "the table of calibrations has no column '%s'; put it aside and calibrate again",
                                 names[k]);
        r->place[k] = i;
    }
    return LAY_OK;
}

static const lay_csv_field *field_of(const calibration_reader *r, column k) {
    return r->place[k] < r->row.count ? &r->row.fields[r->place[k]] : NULL;
}

static const char *text_of(const calibration_reader *r, column k) {
    const lay_csv_field *f = field_of(r, k);
    return f ? f->text : "";
}

static lay_status read_row(calibration_reader *r, lay_error *err) {
    lay_calibration c = {0};
    double factor;
    const lay_csv_field *first = &r->row.fields[0];
    if (!lay_run_channel(text_of(r, CHANNEL), &c.channel))
        return fail_field(r, first, "a calibration needs the number of its channel", err);
    if (!lay_parse_number(text_of(r, FULL_SCALE), &c.full_scale) || !(c.full_scale > 0) ||
        !lay_run_unit(text_of(r, UNIT), &factor, &c.quantity))
        return fail_field(r, first, "a calibration needs full_scale above 0 and its unit, m/s2 or Pa", err);
    c.full_scale *= factor;
    snprintf(c.when, sizeof c.when, "%s", text_of(r, WHEN));
    if (strcmp(text_of(r, DEVICE), r->device) != 0) return LAY_OK;
    for (size_t i = 0; i < r->count; i++)
        if (r->found[i].channel == c.channel) { /* rows are added at the end: the later is the newer */
            r->found[i] = c;
            return LAY_OK;
        }
    lay_status status = lay_grow((void **)&r->found, &r->capacity, r->count, sizeof *r->found, err);
    if (status == LAY_OK) r->found[r->count++] = c;
    return status;
}

static int by_channel(const void *a, const void *b) {
    return ((const lay_calibration *)a)->channel - ((const lay_calibration *)b)->channel;
}

static lay_status read_table(calibration_reader *r, const char *text, size_t length, const char *path, lay_error *err) {
    lay_status status = lay_csv_table_open(&r->csv, text, length, path, err);
    if (status == LAY_OK) status = read_header(r, err);
    while (status == LAY_OK) {
        status = lay_csv_table_next(&r->csv, &r->row, err);
        if (status != LAY_OK || r->row.count == 0) break;
        status = read_row(r, err);
    }
    free(r->row.fields);
    lay_csv_table_close(&r->csv);
    if (r->count > 1) qsort(r->found, r->count, sizeof *r->found, by_channel);
    return status;
}

lay_status lay_calibration_load(const char *path, const char *device, lay_calibration **out, size_t *count,
                                lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = NULL;
    *count = 0;
    if (access(path, F_OK) != 0) return LAY_OK;
    calibration_reader r = {.device = device};
    lay_status status = lay_read_file(path, longest_table, &text, &length, err);
    if (status == LAY_OK) status = read_table(&r, text, length, path, err);
    free(text);
    if (status != LAY_OK) {
        free(r.found);
        return status;
    }
    *out = r.found;
    *count = r.count;
    return LAY_OK;
}

/* ---- adding ---- */

static bool same(const char *name, const char *other) {
    return strcasecmp(name, other) == 0;
}

static lay_status check(const char *text, size_t length, const char *path, lay_error *err) {
    calibration_reader r = {.device = ""};
    lay_status status = read_table(&r, text, length, path, err);
    free(r.found);
    return status;
}

lay_status lay_calibration_add(const char *path, const char *device, const lay_calibration *c,
                               const lay_calibrator_tone *tone, const char *file, lay_error *err) {
    char numbers[5][32];
    lay_run_entry cells[COLUMNS];
    snprintf(numbers[0], sizeof numbers[0], "%d", c->channel);
    snprintf(numbers[1], sizeof numbers[1], "%.5g", c->full_scale);
    snprintf(numbers[2], sizeof numbers[2], "%.2f", tone->hz);
    snprintf(numbers[3], sizeof numbers[3], "%.3f", tone->steady_db);
    snprintf(numbers[4], sizeof numbers[4], "%.1f", tone->above_noise_db);
    const char *values[COLUMNS] = {
        [CHANNEL] = numbers[0], [FULL_SCALE] = numbers[1], [UNIT] = c->quantity == LAY_PRESSURE ? "Pa" : "m/s2",
        [DEVICE] = device,      [WHEN] = c->when,          [HZ] = numbers[2],
        [STEADY] = numbers[3],  [NOISE] = numbers[4],      [FILE_NAME] = file};
    for (size_t i = 0; i < COLUMNS; i++) cells[i] = (lay_run_entry){names[i], values[i]};
    const lay_csv_addition add = {.cells = cells, .count = COLUMNS, .same = same, .check = check};
    return lay_csv_add(path, &add, err);
}
