/* One session of `layshaft watch`: sound in, screens out, until somebody leaves. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "clock.h"
#include "keys.h"
#include "sound.h"
#include "terminal.h"
#include "unit_name.h"
#include "watch.h"

#define LOOK_S 0.125 /* of sound, from one look to the next */
#define TICK_MS 40
#define REDRAW_S 0.25 /* also when no sound comes */

typedef struct watching {
    const lay_watch_options *o;
    const char *file;
    lay_unit *unit;
    int gear;
    lay_run_table own, beside; /* the row as stated, and the table beside a file */
    lay_run_spec spec;         /* borrowed from one of them, but for the calibration */
    lay_run_table calibrated;  /* owns that */
    lay_record_job job;        /* of --record */
    lay_record_row row;
    bool row_made;
    lay_watch_baseline *baseline;
    lay_watch_source *source;
    lay_capture_state state; /* of a device, at the end */
    lay_monitor *monitor;
    lay_monitor_view view;
    lay_watch watch;
    lay_watch_window *window;
    FILE *screen;
    bool begun, held, drawn, quit;
    double *frames;
    size_t room, since_look;
    int alarms;
    double drawn_at;
    char trouble[160];
    lay_text warnings;
} watching;

/* ---- what is watched ---- */

/* A file's own row counts when nothing is said on the command line. */
static lay_status find_spec(watching *w, lay_error *err) {
    const lay_run_spec *row = NULL;
    char *name[] = {lay_strdup(w->file ? w->file : "device")};
    lay_status status = name[0] ? lay_single_table(&w->o->single, name, 1, &w->own, err)
                                : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    free(name[0]);
    if (status != LAY_OK) return status;
    w->spec = w->own.runs[0];
    const char *stray = lay_single_stray(&w->o->single);
    if (w->file && (!stray || strcmp(stray, "gear") == 0) && lay_watch_find_row(w->file, &w->beside, &row))
        w->spec = *row;
    const char *gear = w->o->single.gear ? w->o->single.gear : w->spec.gear;
    if (!gear || !*gear) return lay_fail(err, LAY_BAD_USAGE, "say which gear is engaged: --gear");
    return lay_cli_find_gear(w->unit, gear, &w->gear, err);
}

/* Full scale as the row of the recording will have it: its cells are plain. */
static lay_status take_calibration(watching *w, lay_error *err) {
    const char *scale = NULL, *unit = NULL;
    for (size_t i = 0; i < w->row.count; i++) {
        if (strcmp(w->row.cells[i].column, "full_scale") == 0) scale = w->row.cells[i].value;
        if (strcmp(w->row.cells[i].column, "unit") == 0) unit = w->row.cells[i].value;
    }
    if (!scale || !unit) return LAY_OK;
    lay_text text = {0};
    lay_text_add(&text, "file,full_scale,unit\nx,%s,%s\n", scale, unit);
    lay_status status = text.failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory")
                                    : lay_run_table_parse(text.text, text.length, "", &w->calibrated, err);
    lay_text_free(&text);
    if (status != LAY_OK) return status;
    w->spec.full_scale = w->calibrated.runs[0].full_scale;
    w->spec.gains = w->calibrated.runs[0].gains;
    w->spec.gain_count = w->calibrated.runs[0].gain_count;
    w->spec.quantity = w->calibrated.runs[0].quantity;
    return LAY_OK;
}

static lay_status add_row(void *user, lay_error *err) {
    watching *w = user;
    return lay_run_table_add(w->job.table, w->row.cells, w->row.count, err);
}

static lay_status prepare_recording(watching *w, lay_error *err) {
    const lay_record_options *r = &w->o->record;
    const lay_capture_options capture = lay_record_capture(r);
    lay_capture_state plan;
    w->job = (lay_record_job){.options = r, .folder = w->o->into};
    lay_status status = lay_record_open(&w->job, err);
    if (status == LAY_OK) status = lay_record_check(&w->job, r->gear, r->load, err);
    if (status == LAY_OK) status = lay_capture_plan(&capture, &plan, err);
    if (status == LAY_OK) status = lay_record_row_make(&w->job, r->gear, r->load, &plan, &w->row, &w->warnings, err);
    if (status == LAY_OK) status = lay_run_table_takes(w->job.table, w->row.cells, w->row.count, err);
    if (status == LAY_OK) status = take_calibration(w, err);
    return status;
}

static lay_status open_source(watching *w, lay_error *err) {
    lay_capture_options capture = lay_record_capture(&w->o->record);
    if (w->file)
        return lay_watch_source_file(w->file, w->spec.csv_rate, w->o->pace_given ? w->o->pace : 1, &w->source, err);
    capture.comment = w->row.comment;
    capture.ready = w->o->into ? add_row : NULL;
    capture.user = w;
    lay_status status = lay_watch_source_device(&capture, w->row.path, &w->source, err);
    w->row_made = status == LAY_OK && w->o->into;
    return status;
}

static lay_status open_all(watching *w, lay_error *err) {
    lay_status status = w->o->into ? prepare_recording(w, err) : LAY_OK;
    if (status == LAY_OK && w->o->baseline)
        status = lay_watch_baseline_read(w->unit, w->gear, w->o->baseline, &w->spec, &w->baseline, err);
    if (status == LAY_OK) status = open_source(w, err);
    if (status != LAY_OK) return status;
    const lay_monitor_options o = {.unit = w->unit,
                                   .gear = w->gear,
                                   .spec = &w->spec,
                                   .rate = lay_watch_source_rate(w->source),
                                   .channels = lay_watch_source_channels(w->source)};
    status = lay_monitor_new(&o, &w->monitor, err);
    w->room = (size_t)(LOOK_S * o.rate) + 1;
    w->frames = lay_calloc(w->room * (size_t)o.channels, sizeof *w->frames);
    if (status == LAY_OK && !w->frames) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    if (status == LAY_OK) status = lay_monitor_look(w->monitor, &w->view, err);
    if (status == LAY_OK) status = lay_watch_begin(&w->view, &w->spec, w->baseline, w->o->limit_db, &w->watch, err);
    w->begun = status == LAY_OK;
    if (status == LAY_OK && w->screen && !w->o->no_window) w->window = lay_watch_window_open();
    return status;
}

static lay_status close_all(watching *w, lay_error *err) {
    lay_status status = lay_watch_source_close(w->source, &w->state, err);
    lay_watch_window_close(w->window);
    free(w->frames);
    return status;
}

/* ---- the screen ---- */

static lay_watch_screen screen_of(const watching *w, const char *where) {
    return (lay_watch_screen){.unit = w->unit,
                              .gear = w->unit->gears[w->gear].name,
                              .watch = &w->watch,
                              .trouble = w->trouble[0] ? w->trouble : NULL,
                              .where = where,
                              .held = w->held,
                              .recording = w->row_made};
}

static void draw(watching *w) {
    lay_text text = {0};
    w->drawn_at = lay_clock_s();
    lay_watch_source_trouble(w->source, w->trouble, sizeof w->trouble);
    if (!w->trouble[0] && !w->view.known && w->view.trouble)
        snprintf(w->trouble, sizeof w->trouble, "%.150s", w->view.trouble);
    const lay_watch_screen s = screen_of(w, lay_watch_source_name(w->source));
    if (w->screen && lay_report_watch(&s, lay_terminal_colour((lay_colour)w->o->record.colour), lay_terminal_width(),
                                      lay_terminal_rows(), &text) == LAY_OK) {
        fputs(w->drawn ? "\033[H" : "\033[2J\033[H", w->screen);
        for (const char *line = text.text; *line; line += strcspn(line, "\n") + 1)
            fprintf(w->screen, "%.*s\033[K\n", (int)strcspn(line, "\n"), line);
        fputs("\033[J", w->screen);
        fflush(w->screen);
        w->drawn = true;
    }
    lay_text_free(&text);
    if (!w->window || !w->view.known || !lay_watch_window_ready(w->window)) return;
    if (lay_report_watch_plot(&s, &w->view, &text) == LAY_OK) lay_watch_window_draw(w->window, &text);
    lay_text_free(&text);
}

static void ring_at_alarm(watching *w) {
    int alarms = 0;
    for (size_t i = 0; i < w->watch.count; i++) alarms += w->watch.rows[i].alarms;
    if (alarms > w->alarms && w->screen) fputc('\a', w->screen);
    w->alarms = alarms;
}

/* ---- going on ---- */

static lay_status hear(watching *w, bool *looked, bool *over, lay_error *err) {
    size_t got = 1;
    lay_status status = LAY_OK;
    *looked = false;
    while (status == LAY_OK && got > 0 && !*over && w->since_look < w->room - 1) {
        status = lay_watch_source_read(w->source, w->frames, w->room - w->since_look, &got, over, err);
        if (status == LAY_OK) lay_monitor_feed(w->monitor, w->frames, got);
        w->since_look += got;
    }
    if (status != LAY_OK || w->since_look < w->room - 1) return status;
    w->since_look = 0;
    *looked = true;
    status = lay_monitor_look(w->monitor, &w->view, err);
    if (status == LAY_OK) lay_watch_take(&w->watch, &w->view);
    return status;
}

static lay_status obey(watching *w, int key, lay_error *err) {
    if (key == 'h') w->held = !w->held;
    if (key == 'r') lay_watch_reset(&w->watch);
    if (key == 'q' || key == '\033') w->quit = true;
    if (key != LAY_KEY_NONE) draw(w);
    return key == 'n' ? lay_watch_note(&w->watch, err) : LAY_OK;
}

static lay_status go_on(watching *w, lay_error *err) {
    lay_status status = LAY_OK;
    bool over = false, looked;
    double seconds = w->o->record.seconds;
    while (status == LAY_OK && !over && !w->quit && !lay_keys_interrupted()) {
        status = hear(w, &looked, &over, err);
        if (status != LAY_OK) break;
        if (looked) ring_at_alarm(w);
        if (!w->held && (looked || lay_clock_s() - w->drawn_at > REDRAW_S)) draw(w);
        if (seconds > 0 && w->view.at_s >= seconds) break;
        status = obey(w, lay_keys_wait(looked ? 0 : TICK_MS), err);
    }
    return status;
}

static lay_status watch(watching *w, lay_error *err) {
    FILE *kept = lay_sound_hush();
    lay_error closing = {0};
    w->screen = w->screen && kept ? kept : NULL;
    lay_keys_open();
    if (!w->file && kept) lay_record_cautions(&(lay_record_job){.options = &w->o->record}, kept);
    lay_status status = open_all(w, err);
    if (status == LAY_OK) status = go_on(w, err);
    lay_status closed = close_all(w, &closing);
    if (w->drawn) fputs("\033[2J\033[H", kept);
    lay_keys_close();
    lay_sound_speak(kept);
    if (status == LAY_OK && closed != LAY_OK) {
        *err = closing;
        lay_text_add(&w->warnings, "%s\n", closing.message);
    }
    return status == LAY_OK ? closed : status;
}

/* ---- at the end ---- */

static lay_status sum_up(watching *w, lay_text *out) {
    const lay_watch_screen s = screen_of(w, w->file ? w->file : w->state.device);
    const char *recorded = w->row_made ? w->row.path : NULL;
    bool colour = lay_terminal_colour((lay_colour)w->o->record.colour);
    if (w->state.lost + w->state.overruns > 0)
        lay_text_add(&w->warnings, "samples were lost, first at %.1f s\n", w->state.first_loss_s);
    if (w->baseline && w->watch.compared == 0 && w->watch.max_hz > 0)
        lay_text_add(&w->warnings, "nothing was compared: the baseline holds no sound at these speeds\n");
    return w->o->record.common.json
               ? lay_report_watch_json(&s, recorded, &w->warnings, false, out)
               : lay_report_watch_summary(&s, recorded, &w->warnings, colour, lay_terminal_width(), out);
}

static void watching_free(watching *w) {
    lay_watch_free(&w->watch); /* its rows point into the monitor */
    lay_monitor_free(w->monitor);
    lay_watch_baseline_free(w->baseline);
    lay_record_row_free(&w->row);
    lay_record_close(&w->job);
    lay_run_table_free(&w->own);
    lay_run_table_free(&w->beside);
    lay_run_table_free(&w->calibrated);
    lay_unit_free(w->unit);
    lay_text_free(&w->warnings);
}

int lay_watch_run(const lay_watch_options *o, char **operands, int count) {
    watching w = {.o = o, .file = count > 1 ? operands[1] : NULL};
    lay_text out = {0};
    lay_error err = {0};
    w.screen = lay_terminal_screen() && !o->record.common.quiet ? stderr : NULL;
    lay_status status = lay_cli_load_unit(operands[0], &w.unit, &err);
    if (status == LAY_OK) status = find_spec(&w, &err);
    if (status == LAY_OK) status = watch(&w, &err);
    if (w.begun) sum_up(&w, &out);
    int exit_status = out.length > 0 ? lay_cli_print(&out) : 0;
    if (status != LAY_OK) exit_status = lay_cli_finish(status, &err);
    lay_text_free(&out);
    watching_free(&w);
    return exit_status;
}
