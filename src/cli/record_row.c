/* The row that a recording gets in runs.csv, and the same in the recording itself. */
#include "record.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char mark[] = "layshaft recording";

/* ---- names of files ---- */

static bool named_in(const lay_run_table *table, const char *name) {
    for (size_t i = 0; i < table->count; i++)
        if (strcmp(table->runs[i].file, name) == 0) return true;
    return false;
}

char *lay_record_name(const lay_record_job *job, const char *stem, lay_error *err) {
    lay_run_table table = {0}; /* stays empty where there is none yet */
    if (access(job->table, F_OK) == 0) lay_run_table_load(job->table, &table, NULL);
    char *name = NULL;
    for (int number = 1; number < 100000 && !name; number++) {
        lay_text text = {0};
        lay_text_add(&text, "%s-%02d.wav", stem, number);
        char *path = text.failed ? NULL : lay_path_join(job->folder, text.text);
        if (!path) break;
        if (access(path, F_OK) != 0 && !named_in(&table, text.text)) name = lay_strdup(text.text);
        free(path);
        lay_text_free(&text);
    }
    lay_run_table_free(&table);
    if (!name) lay_fail(err, LAY_NO_MEMORY, "no name could be found for the recording");
    return name;
}

static void add_plain(const char *word, lay_text *out) {
    for (; *word; word++) lay_text_add(out, "%c", isalnum((unsigned char)*word) ? tolower((unsigned char)*word) : '-');
}

static lay_status name_file(const lay_record_job *job, const char *gear, const char *load, lay_record_row *row,
                            lay_error *err) {
    lay_text stem = {0};
    lay_text_add(&stem, gear && *gear ? "gear-" : "run");
    if (gear) add_plain(gear, &stem);
    if (load && *load) lay_text_add(&stem, "-");
    if (load) add_plain(load, &stem);
    row->file = stem.failed ? NULL : lay_record_name(job, stem.text, err);
    lay_text_free(&stem);
    if (!row->file) return err && err->code != LAY_OK ? err->code : LAY_NO_MEMORY;
    row->path = lay_path_join(job->folder, row->file);
    return row->path ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

/* ---- calibration ---- */

static const lay_calibration *calibration_of(const lay_calibration *all, size_t count, int channel) {
    for (size_t i = 0; i < count; i++)
        if (all[i].channel == channel) return &all[i];
    return NULL;
}

/* The channels that will be analysed, from 1; out[LAY_RECORD_MOST]. */
#define LAY_RECORD_MOST 1024
static size_t analysed(const lay_record_options *o, int channels, int *out) {
    size_t count = 0;
    for (const char *at = o->channel; at && *at && count < LAY_RECORD_MOST; at += strspn(at, "+")) {
        out[count++] = (int)strtol(at, NULL, 10);
        at += strcspn(at, "+");
    }
    for (int c = 1; !o->channel && c <= channels && count < LAY_RECORD_MOST; c++)
        if (c != o->tach_channel) out[count++] = c;
    return count;
}

/* "490.3" or "490.3+488.1" when every channel is calibrated in one quantity; "" with a warning when only some are. */
static void full_scales(const lay_calibration *all, size_t count, const int *channels, size_t channel_count,
                        lay_text *out, lay_quantity *quantity, lay_text *warnings) {
    bool alike = true, mixed = false;
    const lay_calibration *first = NULL;
    int without = 0;
    for (size_t i = 0; i < channel_count; i++) {
        const lay_calibration *c = calibration_of(all, count, channels[i]);
        if (!c) {
            without = without == 0 ? channels[i] : without;
            continue;
        }
        if (!first) first = c;
        mixed = mixed || c->quantity != first->quantity;
        alike = alike && c->full_scale == first->full_scale;
    }
    if (!first) return;
    if (without > 0)
        lay_text_add(warnings, "channel %d is not calibrated on this device, so levels are in dB of full scale\n",
                     without);
    else if (mixed)
        lay_text_add(warnings,
                     "some channels are calibrated in m/s2 and some in Pa, so levels are in dB of full scale; "
                     "analyse one kind with --channel\n");
    if (without > 0 || mixed) return;
    *quantity = first->quantity;
    for (size_t i = 0; i < (alike ? 1 : channel_count); i++)
        lay_text_add(out, "%s%.5g", i > 0 ? "+" : "", calibration_of(all, count, channels[i])->full_scale);
}

static lay_status find_full_scale(const lay_record_job *job, const lay_capture_state *plan, lay_record_row *row,
                                  lay_quantity *quantity, lay_text *warnings, lay_error *err) {
    lay_calibration *all = NULL;
    size_t count = 0;
    lay_text text = {0};
    int *channels = lay_calloc(LAY_RECORD_MOST, sizeof *channels);
    *quantity = LAY_FULL_SCALE;
    lay_status status = channels ? lay_calibration_load(job->calibrations, plan->device, &all, &count, err)
                                 : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK)
        full_scales(all, count, channels, analysed(job->options, plan->channels, channels), &text, quantity, warnings);
    if (status == LAY_OK && text.failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    row->full_scale = text.text;
    free(all);
    free(channels);
    return status;
}

/* ---- the row ---- */

static void put(lay_record_row *row, const char *column, const char *value) {
    if (value && *value) row->cells[row->count++] = (lay_run_entry){column, value};
}

/* "layshaft recording; gear=3; load=drive; ...": what would end a value early becomes a comma. */
static lay_status write_comment(const lay_capture_state *plan, lay_record_row *row, lay_error *err) {
    lay_text text = {0};
    lay_text_add(&text, "%s", mark);
    for (size_t i = 1; i < row->count; i++) { /* the file knows its name */
        lay_text_add(&text, "; %s=", row->cells[i].column);
        for (const char *c = row->cells[i].value; *c; c++)
            lay_text_add(&text, "%c", *c == ';' ? ',' : iscntrl((unsigned char)*c) ? ' ' : *c);
    }
    lay_text_add(&text, "; device=");
    for (const char *c = plan->device; *c; c++) lay_text_add(&text, "%c", *c == ';' ? ',' : *c);
    lay_text_add(&text, "; begun=%s", lay_clock_moment().text);
    row->comment = text.text;
    return text.failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory") : LAY_OK;
}

lay_status lay_record_row_make(const lay_record_job *job, const char *gear, const char *load,
                               const lay_capture_state *plan, lay_record_row *row, lay_text *warnings, lay_error *err) {
    const lay_record_options *o = job->options;
    lay_quantity quantity = LAY_FULL_SCALE;
    *row = (lay_record_row){0};
    lay_status status = name_file(job, gear, load, row, err);
    if (status == LAY_OK) status = find_full_scale(job, plan, row, &quantity, warnings, err);
    if (status != LAY_OK) return status;
    if (o->tach_channel > 0) snprintf(row->tach, sizeof row->tach, "%d", o->tach_channel);
    if (o->tach_channel > 0 && o->pulses_per_rev > 0)
        snprintf(row->pulses, sizeof row->pulses, "%.6g", o->pulses_per_rev);
    put(row, "file", row->file);
    put(row, "gear", gear);
    put(row, "load", load);
    put(row, "rpm", o->rpm);
    put(row, "road_speed", o->road_speed);
    put(row, "tach_channel", row->tach);
    put(row, "pulses_per_rev", row->pulses);
    put(row, "tach_on", o->tach_on);
    put(row, "channel", o->channel);
    put(row, "sensor", o->sensor);
    put(row, "full_scale", row->full_scale);
    if (row->full_scale) put(row, "unit", quantity == LAY_PRESSURE ? "Pa" : "m/s2");
    put(row, "note", o->note);
    return write_comment(plan, row, err);
}

void lay_record_row_free(lay_record_row *row) {
    free(row->file);
    free(row->path);
    free(row->full_scale);
    free(row->comment);
    *row = (lay_record_row){0};
}

/* ---- and back ---- */

bool lay_record_row_read(char *text, const char *file, lay_run_entry cells[LAY_RECORD_CELLS], size_t *count) {
    static const char *const known[] = {"gear",    "load",    "rpm",    "road_speed", "tach_channel", "pulses_per_rev",
                                        "tach_on", "channel", "sensor", "full_scale", "unit",         "note"};
    size_t length = strlen(mark);
    if (strncmp(text, mark, length) != 0) return false;
    cells[0] = (lay_run_entry){"file", file};
    *count = 1;
    for (char *at = strstr(text, "; "), *next; at && *count < LAY_RECORD_CELLS; at = next) {
        at += 2;
        next = strstr(at, "; ");
        if (next) *next = 0;
        char *equals = strchr(at, '=');
        if (!equals) continue;
        *equals = 0;
        for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
            if (strcmp(at, known[i]) == 0) cells[(*count)++] = (lay_run_entry){known[i], equals + 1};
    }
    return true;
}
