/* The columns of runs.csv: their names and how a cell becomes part of a run. */
#include "run_fields.h"

#include "run_values.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* ---- plain cells ---- */

static lay_status replace(char **text, char *value, lay_error *err) {
    if (value == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the table of runs");
    free(*text);
    *text = value;
    return LAY_OK;
}

static lay_status read_file(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    lay_status status = replace(&run->file, lay_strdup(cell->field->text), err);
    if (status != LAY_OK) return status;
    return replace(&run->path, lay_path_join(cell->folder, cell->field->text), err);
}

static lay_status read_gear(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    return replace(&run->gear, lay_strdup(cell->field->text), err);
}

static lay_status read_tach_on(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    return replace(&run->tach_on, lay_strdup(cell->field->text), err);
}

static lay_status read_rpm_log(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    return replace(&run->rpm_log, lay_path_join(cell->folder, cell->field->text), err);
}

static lay_status read_tach_channel(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    if (lay_run_channel(cell->field->text, &run->tach_channel)) return LAY_OK;
    return lay_run_cell_fail(cell, err, "tach_channel must be the number of a channel, counted from 1; not '%.60s'",
                             cell->field->text);
}

static lay_status read_pulses(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    double value;
    if (!lay_run_number(cell, cell->field->text, &value) || !(value > 0 && value <= 3600))
        return lay_run_cell_fail(cell, err, "pulses_per_rev must be a number above 0 and up to 3600; not '%.60s'",
                                 cell->field->text);
    run->pulses_per_rev = value;
    return LAY_OK;
}

static lay_status read_rate(const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    double value;
    if (!lay_run_number(cell, cell->field->text, &value) || !(value > 0 && value <= 1e7))
        return lay_run_cell_fail(cell, err, "rate must be samples per second, such as 25600; not '%.60s'",
                                 cell->field->text);
    run->csv_rate = value;
    return LAY_OK;
}

/* ---- the columns ---- */

typedef lay_status (*cell_reader)(const lay_run_cell *cell, lay_run_spec *run, lay_error *err);

/* In reading order: unit builds on full_scale. */
static const char *const names[] = {"file",           "gear",    "load",    "rpm",       "tach_channel",
                                    "pulses_per_rev", "tach_on", "rpm_log", "channel",   "sensor",
                                    "full_scale",     "unit",    "rate",    "road_speed"};
static const cell_reader readers[] = {read_file,
                                      read_gear,
                                      lay_run_read_load,
                                      lay_run_read_rpm,
                                      read_tach_channel,
                                      read_pulses,
                                      read_tach_on,
                                      read_rpm_log,
                                      lay_run_read_channels,
                                      lay_run_read_sensor,
                                      lay_run_read_full_scale,
                                      lay_run_read_unit,
                                      read_rate,
                                      lay_run_read_road_speed};
enum { COUNT = sizeof names / sizeof names[0] };
_Static_assert(sizeof readers / sizeof readers[0] == COUNT, "one reader for each name");

int lay_run_column_count(void) {
    return COUNT;
}

const char *lay_run_column_name(int column) {
    return names[column];
}

lay_status lay_run_column_read(int column, const lay_run_cell *cell, lay_run_spec *run, lay_error *err) {
    return readers[column](cell, run, err);
}

/* "Tach channel" -> "tach_channel"; false when it is too long to be a name. */
static bool normalise(const char *name, char *out, size_t size) {
    size_t i = 0;
    for (; name[i] != 0 && i + 1 < size; i++)
        out[i] = name[i] == ' ' || name[i] == '-' ? '_' : (char)tolower((unsigned char)name[i]);
    out[i] = 0;
    return name[i] == 0;
}

int lay_run_column(const char *name) {
    char word[32];
    if (!normalise(name, word, sizeof word)) return -1;
    for (int i = 0; i < COUNT; i++)
        if (strcmp(word, names[i]) == 0) return i;
    return strcmp(word, "channels") == 0 ? lay_run_column("channel") : -1;
}

/* Slips of the pen keep the first letter and nearly the length; `date`, `year` or `gearbox` are notes. */
const char *lay_run_column_near(const char *name) {
    char word[32];
    if (!normalise(name, word, sizeof word)) return NULL;
    const char *near = lay_nearest(word, names, COUNT);
    if (near == NULL || near[0] != word[0]) return NULL;
    size_t a = strlen(near), b = strlen(word);
    return a > b + 2 || b > a + 2 ? NULL : near;
}
