/* How loud good sound is: a recording read through the same eyes as what is watched. */
#include <stdlib.h>
#include <string.h>

#include "terminal.h"
#include "watch.h"

#define LOOK_S 0.25

bool lay_watch_find_row(const char *path, lay_run_table *table, const lay_run_spec **row) {
    const char *slash = strrchr(path, '/'), *name = slash ? slash + 1 : path;
    lay_text beside = {0};
    lay_text_add(&beside, "%.*sruns.csv", slash ? (int)(slash + 1 - path) : 0, path);
    bool loaded = !beside.failed && lay_run_table_load(beside.text, table, NULL) == LAY_OK;
    lay_text_free(&beside);
    for (size_t i = 0; loaded && i < table->count; i++)
        if (strcmp(table->runs[i].file, name) == 0) {
            *row = &table->runs[i];
            return true;
        }
    return false;
}

static lay_status learn(lay_monitor *monitor, lay_watch_source *source, const lay_run_spec *spec,
                        lay_watch_baseline *baseline, size_t *looks, lay_error *err) {
    size_t room = (size_t)(LOOK_S * lay_watch_source_rate(source)) + 1, got, held = 0;
    double *frames = lay_calloc(room * (size_t)lay_watch_source_channels(source), sizeof *frames);
    lay_status status = frames ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the baseline");
    for (bool over = false; status == LAY_OK && !over;) {
        status = lay_watch_source_read(source, frames, room, &got, &over, err);
        if (status != LAY_OK) break;
        lay_monitor_feed(monitor, frames, got);
        held += got;
        if (held < room - 1) continue;
        held = 0;
        lay_monitor_view view;
        status = lay_monitor_look(monitor, &view, err);
        if (status == LAY_OK) status = lay_watch_learn(baseline, &view, spec, err);
        *looks += view.known;
    }
    free(frames);
    return status;
}

static lay_status read_at_speed(const lay_unit *unit, int gear, const char *path, const lay_run_spec *spec,
                                const lay_shaft *shaft, lay_watch_baseline *baseline, lay_error *err) {
    lay_watch_source *source = NULL;
    lay_monitor *monitor = NULL;
    size_t looks = 0;
    lay_status status = lay_watch_source_file(path, spec->csv_rate, 0, &source, err);
    if (status != LAY_OK) return status;
    const lay_monitor_options o = {.unit = unit,
                                   .gear = gear,
                                   .spec = spec,
                                   .rate = lay_watch_source_rate(source),
                                   .channels = lay_watch_source_channels(source),
                                   .known = shaft};
    status = lay_monitor_new(&o, &monitor, err);
    if (status == LAY_OK) status = learn(monitor, source, spec, baseline, &looks, err);
    if (status == LAY_OK && looks == 0)
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "this baseline is too short; half a minute is good");
    lay_monitor_free(monitor);
    lay_watch_source_close(source, NULL, NULL);
    return status;
}

/* The speed of a recording is found over the whole of it, which is surer than live. */
static lay_status read_all(const lay_unit *unit, int gear, const char *path, const lay_run_spec *like,
                           lay_watch_baseline *baseline, lay_error *err) {
    lay_run_speed speed = {0};
    lay_run_spec spec = *like; /* borrows all */
    char *own = lay_strdup(path);
    if (!own) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the baseline");
    spec.path = own;
    spec.gear = unit->gears[gear].name;
    lay_status status = lay_run_find_speed(unit, &spec, NULL, &speed, err);
    if (status == LAY_OK && !speed.found)
        status = lay_fail_file(err, LAY_BAD_INPUT, path,
                               "the speed cannot be told in this baseline; write the rpm or the tach into its row of "
                               "runs.csv");
    if (status == LAY_OK) status = read_at_speed(unit, gear, path, &spec, &speed.shaft, baseline, err);
    lay_run_speed_free(&speed);
    free(own);
    return status;
}

lay_status lay_watch_baseline_read(const lay_unit *unit, int gear, const char *path, const lay_run_spec *like,
                                   lay_watch_baseline **out, lay_error *err) {
    lay_run_table table = {0};
    const lay_run_spec *row = like;
    *out = NULL;
    bool own = lay_watch_find_row(path, &table, &row);
    lay_status status = LAY_OK;
    if (own && row->gear[0] && lay_unit_gear(unit, row->gear) != gear)
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "this baseline was made in gear %.40s, not in the one watched",
                               row->gear);
    if (own && status == LAY_OK && row->quantity != like->quantity)
        status = lay_fail_file(err, LAY_BAD_INPUT, path,
                               "the baseline is in dB re %s and what is watched in dB re %s; calibrate both or neither",
                               lay_quantity_reference(row->quantity), lay_quantity_reference(like->quantity));
    lay_watch_baseline *baseline = status == LAY_OK ? lay_watch_baseline_new() : NULL;
    if (status == LAY_OK && !baseline) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the baseline");
    if (status == LAY_OK) status = read_all(unit, gear, path, row, baseline, err);
    lay_run_table_free(&table);
    if (status == LAY_OK)
        *out = baseline;
    else
        lay_watch_baseline_free(baseline);
    return status;
}
