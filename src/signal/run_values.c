/* Values of cells of runs.csv. */
#include "run_values.h"

#include "recording.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const double fastest_rpm = 200000;

lay_status lay_run_cell_fail(const lay_run_cell *cell, lay_error *err, const char *fmt, ...) {
    char message[600];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    const lay_csv_field *f = cell->field;
    return lay_fail_at(err, LAY_BAD_INPUT, cell->file, f->line, f->column, f->span, f->line_start, "%s", message);
}

bool lay_run_number(const lay_run_cell *cell, const char *text, double *out) {
    char copy[64];
    size_t length = strlen(text);
    if (length >= sizeof copy) return false;
    memcpy(copy, text, length + 1);
    char *comma = cell->decimal_comma ? strchr(copy, ',') : NULL;
    if (comma != NULL) *comma = '.';
    return lay_parse_number(copy, out);
}

/* ---- words ---- */

static const char *const load_words[LAY_LOAD_COUNT] = {"", "drive", "coast", "steady", "none"};

const char *lay_load_name(lay_load load) {
    return (size_t)load < LAY_LOAD_COUNT ? load_words[load] : "";
}

bool lay_load_parse(const char *text, lay_load *out) {
    for (int i = 0; i < LAY_LOAD_COUNT; i++)
        if (strcasecmp(text, load_words[i]) == 0) {
            *out = (lay_load)i;
            return true;
        }
    return false;
}

static lay_status fail_word(const lay_run_cell *cell, const char *what, const char *choices, const char *const *words,
                            size_t count, lay_error *err) {
    const char *near = lay_nearest(cell->field->text, words, count);
    if (near != NULL)
        return lay_run_cell_fail(cell, err, "no %s is called '%.60s' (did you mean '%s'?)", what, cell->field->text,
                                 near);
    return lay_run_cell_fail(cell, err, "no %s is called '%.60s'; write %s, or leave it empty", what, cell->field->text,
                             choices);
}

lay_status lay_run_read_load(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    if (lay_load_parse(cell->field->text, &run->load)) return LAY_OK;
    return fail_word(cell, "load", "drive, coast, steady or none", load_words + 1, LAY_LOAD_COUNT - 1, err);
}

lay_status lay_run_read_sensor(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    static const char *const words[] = {"accel", "accelerometer", "mic", "microphone"};
    enum { COUNT = sizeof words / sizeof words[0] };
    for (size_t i = 0; i < COUNT; i++)
        if (strcasecmp(cell->field->text, words[i]) == 0) {
            run->sensor = i < 2 ? LAY_SENSOR_ACCEL : LAY_SENSOR_MIC;
            return LAY_OK;
        }
    return fail_word(cell, "sensor", "accel or mic", words, COUNT, err);
}

/* ---- full scale ---- */

/* Of the channel whose number is `index` among those analysed. */
static lay_status add_full_scale(const lay_run_cell *cell, const char *text, size_t index, lay_run_spec *run,
                                 lay_error *err) {
    double value;
    if (!lay_run_number(cell, text, &value) || !(value > 0 && value <= 1e12))
        return lay_run_cell_fail(cell, err,
                                 "full_scale must be a number above 0, such as 490.3, or one for each channel joined "
                                 "by +; not '%.60s'",
                                 cell->field->text);
    if (index == 0) run->full_scale = value;
    run->gains[index] = value / run->full_scale;
    return LAY_OK;
}

lay_status lay_run_read_full_scale(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    char *copy = lay_strdup(cell->field->text), *rest = copy;
    size_t most = 1, count = 0;
    for (const char *c = cell->field->text; *c != 0; c++) most += *c == '+';
    run->gains = lay_calloc(most, sizeof *run->gains);
    lay_status status = LAY_OK;
    if (copy == NULL || run->gains == NULL)
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    while (status == LAY_OK && rest != NULL) {
        /* A plus that is part of a number is none between channels: +490.3, 1e+3. */
        char *plus = rest[0] == 0 ? NULL : strchr(rest + 1, '+');
        while (plus != NULL && (plus[-1] == 'e' || plus[-1] == 'E')) plus = strchr(plus + 1, '+');
        if (plus != NULL) *plus = 0;
        status = add_full_scale(cell, rest, count++, run, err);
        rest = plus != NULL ? plus + 1 : NULL;
    }
    free(copy);
    run->gain_count = count > 1 ? count : 0;
    return status;
}

/* ---- units ---- */

/* Standard acceleration of free fall, ISO 80000-3: 9.80665 m/s2. */
static const struct {
    const char *name;
    double factor; /* to m/s2 or Pa */
    lay_quantity quantity;
} units[] = {
    {"m/s2", 1, LAY_ACCELERATION},        {"m/s^2", 1, LAY_ACCELERATION},
    {"m/s\xC2\xB2", 1, LAY_ACCELERATION}, {"mm/s2", 1e-3, LAY_ACCELERATION},
    {"mm/s^2", 1e-3, LAY_ACCELERATION},   {"mm/s\xC2\xB2", 1e-3, LAY_ACCELERATION},
    {"g", 9.80665, LAY_ACCELERATION},     {"Pa", 1, LAY_PRESSURE},
};

bool lay_run_unit(const char *name, double *factor, lay_quantity *quantity) {
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strcasecmp(name, units[i].name) == 0) {
            *factor = units[i].factor;
            *quantity = units[i].quantity;
            return true;
        }
    return false;
}

lay_status lay_run_read_unit(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    const char *name = cell->field->text;
    double factor;
    lay_quantity quantity;
    if (!lay_run_unit(name, &factor, &quantity))
        return lay_run_cell_fail(cell, err, "the unit '%.60s' is unknown; write m/s2, mm/s2, g or Pa", name);
    if (run->full_scale == 0)
        return lay_run_cell_fail(
            cell, err,
            "there is a unit but no full_scale; write what full scale is in %s (1 when the samples already are %s)",
            name, name);
    run->full_scale *= factor;
    run->quantity = quantity;
    return LAY_OK;
}

/* ---- speeds ---- */

/* Where a range is divided: "1200-3200", also with an en dash; NULL for a single number. */
static char *range_mark(char *text, size_t *length) {
    static const char en_dash[] = "\xE2\x80\x93";
    char *mark = strstr(text, en_dash);
    *length = mark != NULL ? sizeof en_dash - 1 : 1;
    return mark != NULL ? mark : text[0] == 0 ? NULL : strchr(text + 1, '-');
}

static lay_status fail_rpm(const lay_run_cell *cell, lay_error *err) {
    return lay_run_cell_fail(cell, err,
                             "rpm must be a number such as 2110, a range such as 1200-3200, or empty; not '%.60s'",
                             cell->field->text);
}

lay_status lay_run_read_rpm(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    char copy[64];
    size_t size = strlen(cell->field->text), length;
    if (size >= sizeof copy) return fail_rpm(cell, err);
    memcpy(copy, cell->field->text, size + 1);
    char *mark = range_mark(copy, &length);
    if (mark != NULL) *mark = 0;
    double low, high;
    if (!lay_run_number(cell, copy, &low)) return fail_rpm(cell, err);
    high = low;
    if (mark != NULL && !lay_run_number(cell, mark + length, &high)) return fail_rpm(cell, err);
    if (!(low > 0 && high > 0))
        return lay_run_cell_fail(cell, err, "rpm must be above 0; leave it empty when the speed is unknown");
    if (fmax(low, high) > fastest_rpm)
        return lay_run_cell_fail(cell, err, "%g rpm is impossible for a transmission", fmax(low, high));
    run->rpm_low = fmin(low, high);
    run->rpm_high = fmax(low, high);
    return LAY_OK;
}

/* ---- road speeds ---- */

/* International mile: 1609.344 m. */
static const struct {
    const char *name;
    double ms; /* metres per second */
} road_units[] = {{"km/h", 1 / 3.6}, {"kmh", 1 / 3.6}, {"kph", 1 / 3.6}, {"mph", 0.44704}, {"m/s", 1}};

static const double fastest_road_ms = 140; /* some 500 km/h */

static lay_status fail_road_speed(const lay_run_cell *cell, lay_error *err) {
    return lay_run_cell_fail(cell, err,
                             "road_speed must be one number with its unit, such as 62 km/h, 38 mph or 17.2 m/s; not "
                             "'%.60s'",
                             cell->field->text);
}

/* Divides "62 km/h" after the number; false when there is no number. */
static bool split_measure(const lay_run_cell *cell, char *text, double *value, const char **unit) {
    size_t digits = strspn(text, "+-0123456789.,");
    *unit = text + digits + strspn(text + digits, " \t");
    char first = **unit;
    if (digits == 0 || first == 0) return digits > 0 && lay_run_number(cell, text, value);
    char keep = text[digits];
    text[digits] = 0;
    bool good = lay_run_number(cell, text, value);
    text[digits] = keep;
    return good;
}

static lay_status take_road_speed(const lay_run_cell *cell, lay_run_spec *run, double ms, lay_error *err) {
    if (ms == 0)
        return lay_run_cell_fail(cell, err,
                                 "at road_speed 0 the wheels stand still and tell no shaft speed; leave it empty");
    if (!(ms > 0)) return lay_run_cell_fail(cell, err, "road_speed must be above 0; leave it empty when it is unknown");
    if (ms > fastest_road_ms)
        return lay_run_cell_fail(cell, err, "a road speed of '%.60s' is impossible; correct it or its unit",
                                 cell->field->text);
    run->road_speed_ms = ms;
    return LAY_OK;
}

lay_status lay_run_read_road_speed(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    enum { COUNT = sizeof road_units / sizeof road_units[0] };
    const char *names[COUNT], *unit;
    char copy[64];
    double value;
    size_t size = strlen(cell->field->text);
    if (size >= sizeof copy) return fail_road_speed(cell, err);
    memcpy(copy, cell->field->text, size + 1);
    if (!split_measure(cell, copy, &value, &unit)) return fail_road_speed(cell, err);
    if (*unit == 0)
        return lay_run_cell_fail(cell, err, "road_speed needs its unit: write %s km/h, %s mph or %s m/s", copy, copy,
                                 copy);
    for (size_t i = 0; i < COUNT; i++) {
        names[i] = road_units[i].name;
        if (strcasecmp(unit, road_units[i].name) == 0) return take_road_speed(cell, run, value * road_units[i].ms, err);
    }
    const char *near = lay_nearest(unit, names, COUNT);
    if (near == NULL) return fail_road_speed(cell, err);
    return lay_run_cell_fail(cell, err, "no unit of speed is called '%.20s' (did you mean '%s'?)", unit, near);
}

/* ---- channels ---- */

bool lay_run_channel(const char *text, int *out) {
    double value;
    if (!lay_parse_number(text, &value) || value != floor(value) || value < 1 || value > LAY_MAX_CHANNELS) return false;
    *out = (int)value;
    return true;
}

static lay_status add_channel(const lay_run_cell *cell, const char *text, lay_run_spec *run, lay_error *err) {
    int channel;
    if (!lay_run_channel(text, &channel))
        return lay_run_cell_fail(cell, err, "channels are numbers from 1 joined by +, such as 1 or 1+3; not '%.60s'",
                                 cell->field->text);
    for (size_t i = 0; i < run->channel_count; i++)
        if (run->channels[i] == channel) return lay_run_cell_fail(cell, err, "channel %d is named twice", channel);
    run->channels[run->channel_count++] = channel;
    return LAY_OK;
}

lay_status lay_run_read_channels(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    char *copy = lay_strdup(cell->field->text);
    size_t most = 1;
    for (const char *c = cell->field->text; *c != 0; c++) most += *c == '+';
    run->channels = lay_calloc(most, sizeof *run->channels);
    lay_status status = LAY_OK;
    if (copy == NULL || run->channels == NULL)
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    for (char *part = copy; status == LAY_OK && part != NULL;) {
        char *plus = strchr(part, '+');
        if (plus != NULL) *plus = 0;
        status = add_channel(cell, part, run, err);
        part = plus != NULL ? plus + 1 : NULL;
    }
    free(copy);
    return status;
}
