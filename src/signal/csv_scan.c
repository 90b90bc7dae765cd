/* First reading of sample CSV: what its columns are, how many samples, at which rate. */
#include "csv_scan.h"

#include "csv_header.h"
#include "csv_number.h"
#include "recording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- one line ---- */

bool lay_csv_is_note(const char *line) {
    while (*line == ' ' || *line == '\t') line++;
    return *line == 0 || *line == '#' || *line == '%';
}

static lay_status fail_field(const lay_csv_lines *lines, const char *line, lay_slice field, const char *why,
                             lay_error *err) {
    int column = (int)(field.text - line) + 1;
    int span = field.length > 0 ? (int)field.length : 1;
    return lay_fail_at(err, LAY_BAD_INPUT, lines->path, lines->line, column, span, line, "%s", why);
}

static lay_status fail_count(const lay_csv_lines *lines, const lay_csv_layout *layout, const char *line, int found,
                             lay_error *err) {
    return lay_fail_at(err, LAY_BAD_INPUT, lines->path, lines->line, 1, 0, line,
                       "this line has %d columns where the first has %d; a line is broken or cut off", found,
                       layout->columns);
}

lay_status lay_csv_row(const lay_csv_lines *lines, const lay_csv_layout *layout, const char *line, double *row,
                       double *resolution, lay_error *err) {
    const char *cursor = line;
    lay_slice field;
    int i = 0;
    for (; lay_csv_field_next(&cursor, layout->separator, &field); i++) {
        if (i == layout->columns && field.length == 0 && cursor == NULL) break; /* a separator ends the line */
        if (i >= layout->columns) return fail_count(lines, layout, line, i + 1, err);
        bool is_time = i == (layout->time_column < 0 ? 0 : layout->time_column);
        if (!lay_csv_number(field, layout->decimal_comma, &row[i], is_time ? resolution : NULL))
            return fail_field(lines, line, field, "this is not a number; correct it or leave the line out", err);
    }
    return i < layout->columns ? fail_count(lines, layout, line, i, err) : LAY_OK;
}

/* ---- the header ---- */

static lay_status count_columns(const lay_csv_lines *lines, lay_csv_layout *layout, const char *line, lay_error *err) {
    const char *cursor = line;
    lay_slice field;
    int count = 0;
    while (lay_csv_field_next(&cursor, layout->separator, &field))
        count += !(field.length == 0 && cursor == NULL && count > 0);
    if (count > LAY_MAX_CHANNELS)
        return lay_fail_at(err, LAY_BAD_INPUT, lines->path, lines->line, 1, 0, "",
                           "%d columns are more than the %d channels a recording may have", count, LAY_MAX_CHANNELS);
    layout->columns = count;
    return LAY_OK;
}

static lay_status read_header(const lay_csv_lines *lines, lay_csv_layout *layout, const char *line, lay_error *err) {
    const char *cursor = line;
    lay_slice field;
    for (int i = 0; lay_csv_field_next(&cursor, layout->separator, &field); i++) {
        if (!lay_csv_is_time(field, &layout->time_unit)) continue;
        if (layout->time_column >= 0)
            return fail_field(lines, line, field, "a second column is named as time; rename one of them", err);
        layout->time_column = i;
    }
    if (layout->time_column < 0) layout->time_unit = 1;
    return LAY_OK;
}

/* The first line that is no note tells separator, number of columns and whether it is a header. */
static lay_status read_first(const lay_csv_lines *lines, lay_csv_layout *layout, const char *line, bool *is_header,
                             lay_error *err) {
    const char *cursor = line;
    lay_slice field;
    double ignored;
    *layout = (lay_csv_layout){.separator = lay_csv_separator(line), .time_column = -1, .time_unit = 1};
    layout->decimal_comma = layout->separator == ';' || layout->separator == '\t';
    lay_status status = count_columns(lines, layout, line, err);
    if (status != LAY_OK) return status;
    *is_header = lay_csv_field_next(&cursor, layout->separator, &field) &&
                 !lay_csv_number(field, layout->decimal_comma, &ignored, NULL);
    return *is_header ? read_header(lines, layout, line, err) : LAY_OK;
}

/* ---- the time axis ---- */

/* Evenness is judged against the mean step so far: jitter up to 1 % of it and the rounding of the printed digits
 * are allowed, but never so much that a lost sample hides. Example: 48 kHz printed with 6 decimals steps by 21, 21,
 * 20, 21 us: rounding, not jitter; 42 us is a gap. */
typedef struct time_axis {
    int64_t count;
    double first, last, resolution;
    bool rising; /* strictly */
    int uneven_line;
    double uneven_step, expected_step;
} time_axis;

static bool is_even(const time_axis *axis, double step, double expected) {
    double rounding = axis->resolution * (1 + 1 / (double)(axis->count - 1));
    return fabs(step - expected) <= 0.01 * expected + fmin(rounding, 0.75 * expected);
}

static void time_add(time_axis *axis, double t, double resolution, int line) {
    if (axis->count == 0) {
        *axis = (time_axis){.first = t, .rising = true};
    } else {
        double step = t - axis->last;
        if (!(step > 0)) axis->rising = false;
        axis->resolution = fmax(axis->resolution, resolution);
        if (axis->count >= 2 && axis->uneven_line == 0) {
            double expected = (axis->last - axis->first) / (double)(axis->count - 1);
            if (!is_even(axis, step, expected)) {
                axis->uneven_line = line;
                axis->uneven_step = step;
                axis->expected_step = expected;
            }
        }
    }
    axis->last = t;
    axis->count++;
}

/* Mean rate; the nearest whole number when the printed digits cannot tell it from that. */
static double time_rate(const time_axis *axis, double unit) {
    double length = axis->last - axis->first;
    double rate = (double)(axis->count - 1) / (length * unit);
    double uncertainty = rate * (axis->resolution + 1e-9 * length) / length;
    return fabs(rate - round(rate)) <= uncertainty ? round(rate) : rate;
}

static lay_status time_check(const lay_csv_lines *lines, const lay_csv_layout *layout, const time_axis *axis,
                             lay_error *err) {
    if (axis->uneven_line != 0)
        return lay_fail_at(err, LAY_BAD_INPUT, lines->path, axis->uneven_line, 1, 0, "",
                           "time steps by %g s here but by %g s before: samples are missing, unevenly spaced, or time "
                           "has too few digits; export the recording again without gaps",
                           axis->uneven_step * layout->time_unit, axis->expected_step * layout->time_unit);
    if (axis->count < 2 || !(axis->last > axis->first))
        return lay_fail_file(err, LAY_BAD_INPUT, lines->path,
                             "the time column does not rise, so the rate is unknown; export the recording again");
    return LAY_OK;
}

/* ---- the decision ---- */

/* Without a name, a first column that rises strictly over at least 8 lines is time or a count of samples. */
static bool looks_like_time(const lay_csv_layout *layout, const time_axis *axis) {
    return layout->columns >= 2 && axis->count >= 8 && axis->rising;
}

static lay_status rate_without_time(const lay_csv_lines *lines, lay_csv_layout *layout, const time_axis *axis,
                                    double csv_rate, lay_error *err) {
    bool shaped = looks_like_time(layout, axis);
    if (shaped) {
        lay_status status = time_check(lines, layout, axis, err);
        if (status != LAY_OK) return status;
        layout->time_column = 0;
    }
    if (csv_rate > 0 && isfinite(csv_rate)) {
        layout->rate = csv_rate;
        return LAY_OK;
    }
    double step = axis->count > 1 ? (axis->last - axis->first) / (double)(axis->count - 1) : 0;
    if (shaped && step < 1) {
        layout->rate = time_rate(axis, 1);
        return LAY_OK;
    }
    return lay_fail_file(
        err, LAY_BAD_INPUT, lines->path,
        "nothing tells how many samples there are per second; name the time column `time` (seconds), or "
        "give the rate in column `rate` of runs.csv");
}

static lay_status settle(const lay_csv_lines *lines, lay_csv_layout *layout, const time_axis *axis, double csv_rate,
                         lay_error *err) {
    lay_status status;
    if (layout->frames == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, lines->path, "there are no samples in this file; export it again");
    if (layout->time_column < 0) {
        status = rate_without_time(lines, layout, axis, csv_rate, err);
    } else {
        status = time_check(lines, layout, axis, err);
        if (status == LAY_OK) layout->rate = time_rate(axis, layout->time_unit);
    }
    if (status != LAY_OK) return status;
    if (layout->columns - (layout->time_column >= 0) < 1)
        return lay_fail_file(err, LAY_BAD_INPUT, lines->path, "there is a time column but no samples beside it");
    if (!(layout->rate > 0) || !isfinite(layout->rate))
        return lay_fail_file(err, LAY_BAD_INPUT, lines->path,
                             "the time column gives an impossible rate; export it again");
    return LAY_OK;
}

static lay_status scan_rows(lay_csv_lines *lines, lay_csv_layout *layout, double *row, time_axis *axis,
                            lay_error *err) {
    char *line;
    size_t length;
    bool started = false, is_header = false;
    lay_status status;
    while ((status = lay_csv_lines_next(lines, &line, &length, err)) == LAY_OK && line != NULL) {
        if (lay_csv_is_note(line)) continue;
        if (!started) {
            status = read_first(lines, layout, line, &is_header, err);
            if (status != LAY_OK) return status;
            layout->first_data_line = lines->line + is_header;
            started = true;
            if (is_header) continue;
        }
        double resolution = 0;
        status = lay_csv_row(lines, layout, line, row, &resolution, err);
        if (status != LAY_OK) return status;
        time_add(axis, row[layout->time_column < 0 ? 0 : layout->time_column], resolution, lines->line);
        layout->frames++;
    }
    return status;
}

lay_status lay_csv_scan(lay_csv_lines *lines, double csv_rate, lay_csv_layout *out, lay_error *err) {
    time_axis axis = {0};
    *out = (lay_csv_layout){.time_column = -1};
    double *row = lay_calloc(LAY_MAX_CHANNELS, sizeof *row);
    if (row == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
    lay_status status = scan_rows(lines, out, row, &axis, err);
    free(row);
    return status == LAY_OK ? settle(lines, out, &axis, csv_rate, err) : status;
}
