/* One recording: meters while one waits, a countdown, the recording, and what became of it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "keys.h"
#include "record.h"
#include "sound.h"
#include "terminal.h"
#include "unit_name.h"

typedef struct one_run {
    const lay_record_job *job;
    const char *gear, *load;
    lay_capture_state plan;
    lay_record_row row;
    lay_live_options live_options;
    lay_live live;
    lay_live_end end;
    bool made, left;    /* the file and its row stand; nobody wanted to start */
    bool walking, next; /* it is one of several; the next one is asked for */
    lay_error trouble;
    lay_record_look look;
    lay_text warnings;
} one_run;

lay_capture_options lay_record_capture(const lay_record_options *o) {
    return (lay_capture_options){
        .device = o->device, .rate = o->rate, .channels = o->channels, .bits = 16 + 8 * o->bits};
}

lay_status lay_record_check(const lay_record_job *job, const char *gear, const char *load, lay_error *err) {
    lay_load parsed;
    if (load && !lay_load_parse(load, &parsed))
        return lay_fail(err, LAY_BAD_USAGE, "--load takes drive, coast, steady or none, not '%.60s'", load);
    int found;
    return gear && *gear && job->unit ? lay_cli_find_gear(job->unit, gear, &found, err) : LAY_OK;
}

/* ---- before ---- */

static lay_status plan(one_run *r, lay_error *err) {
    const lay_record_options *o = r->job->options;
    const lay_capture_options capture = lay_record_capture(o);
    lay_status status = lay_capture_plan(&capture, &r->plan, err);
    if (status == LAY_OK && o->tach_channel > r->plan.channels)
        status = lay_fail(err, LAY_BAD_USAGE, "the tach is to be channel %d, but %d are recorded; say --channels",
                          o->tach_channel, r->plan.channels);
    if (status == LAY_OK) status = lay_record_row_make(r->job, r->gear, r->load, &r->plan, &r->row, &r->warnings, err);
    if (status == LAY_OK) status = lay_run_table_takes(r->job->table, r->row.cells, r->row.count, err);
    if (status != LAY_OK) return status;
    r->live_options = (lay_live_options){.capture = capture,
                                         .tach_channel = o->tach_channel,
                                         .tach = lay_record_tach(r->job, r->gear, &r->warnings),
                                         .screen = r->job->screen,
                                         .colour = lay_terminal_colour((lay_colour)o->colour)};
    return LAY_OK;
}

/* Meters until somebody says go. */
static lay_status wait_for_start(one_run *r, lay_error *err) {
    const lay_record_options *o = r->job->options;
    if (!r->job->keys || o->now) return LAY_OK;
    lay_status status = lay_live_open(&r->live_options, &r->live, err);
    if (status != LAY_OK) return status;
    lay_text what = {0};
    lay_text_add(&what, "ready for %s%s%s%s", r->gear && *r->gear ? "gear " : "a recording",
                 r->gear && *r->gear ? r->gear : "", r->load && *r->load ? ", " : "", r->load ? r->load : "");
    lay_live_end end = lay_live_run(
        &r->live, what.failed ? "ready" : what.text, r->walking ? " \ns" : " \n",
        r->walking ? "Enter or space: start   s: the next one   q: leave" : "Enter or space: start   q: leave", 0);
    r->next = end == LAY_LIVE_KEY && r->live.key == 's';
    if (end == LAY_LIVE_KEY && !r->next && o->countdown > 0)
        end = lay_live_run(&r->live, "starts after", " \n", "Enter or space: at once   q: leave", o->countdown);
    lay_text_free(&what);
    r->left = r->next || end == LAY_LIVE_QUIT || end == LAY_LIVE_SIGNAL;
    status = lay_live_close(&r->live, err);
    return end == LAY_LIVE_DEVICE || !r->left ? status : LAY_OK;
}

/* ---- the recording ---- */

static lay_status add_row(void *user, lay_error *err) {
    one_run *r = user;
    lay_status status = lay_run_table_add(r->job->table, r->row.cells, r->row.count, err);
    r->made = status == LAY_OK;
    return status;
}

static lay_status record(one_run *r, lay_error *err) {
    const lay_record_options *o = r->job->options;
    r->live_options.path = r->row.path;
    r->live_options.seconds = o->seconds;
    r->live_options.capture.comment = r->row.comment;
    r->live_options.capture.ready = add_row;
    r->live_options.capture.user = r;
    lay_status status = lay_live_open(&r->live_options, &r->live, err);
    if (status != LAY_OK) return status;
    r->end = lay_live_run(&r->live, "RECORDING", " \n", "Enter, space or q: stop", o->seconds);
    status = lay_live_close(&r->live, &r->trouble);
    if (status != LAY_OK && r->end != LAY_LIVE_DEVICE) r->end = LAY_LIVE_DEVICE;
    return LAY_OK; /* what was recorded is kept and told of in any case */
}

/* ---- after ---- */

static const char *end_word(const one_run *r) {
    switch (r->end) {
    case LAY_LIVE_TIME:
        return "time";
    case LAY_LIVE_KEY:
    case LAY_LIVE_QUIT:
        return "key";
    case LAY_LIVE_SIGNAL:
        return "signal";
    case LAY_LIVE_DEVICE:
        break;
    }
    return strstr(r->trouble.message, "disk") ? "disk" : "device";
}

static void note_sleep(one_run *r) {
    if (r->live.slept_s > 0)
        lay_text_add(&r->warnings,
                     "the computer slept for %.0f s, %.1f s into the recording; what sounded meanwhile is missing: "
                     "record again\n",
                     r->live.slept_s, r->live.slept_at_s);
}

static lay_status find_row(const one_run *r, lay_run_table *table, size_t *row, lay_error *err) {
    lay_status status = lay_run_table_load(r->job->table, table, err);
    for (*row = 0; status == LAY_OK && *row < table->count; ++*row)
        if (strcmp(table->runs[*row].file, r->row.file) == 0) return LAY_OK;
    return status != LAY_OK
               ? status
               : lay_fail_file(err, LAY_IO, r->job->table, "the row of %s has gone from the table", r->row.file);
}

static lay_status say(one_run *r, const lay_run_spec *spec, size_t row, lay_text *out) {
    const lay_record_options *o = r->job->options;
    char next[200] = "";
    snprintf(next, sizeof next, "the next recording, or layshaft diagnose %.120s", r->job->folder);
    const lay_recorded said = {.unit = r->job->unit,
                               .spec = spec,
                               .number = row + 1,
                               .state = &r->live.state,
                               .ended = end_word(r),
                               .trouble = r->end == LAY_LIVE_DEVICE ? r->trouble.message : NULL,
                               .checks = r->look.checks,
                               .tach = r->look.has_tach ? &r->look.tach : NULL,
                               .warnings = &r->warnings,
                               .next = r->job->unit ? next : "write the unit file, unit.ini, into the job"};
    if (o->common.json) return lay_report_recorded_json(&said, false, out);
    if (o->common.quiet) {
        lay_text_add(out, "%s\n", r->row.path);
        return out->failed ? LAY_NO_MEMORY : LAY_OK;
    }
    return lay_report_recorded_text(&said, lay_terminal_colour((lay_colour)o->colour), lay_terminal_width(), out);
}

static lay_status report(one_run *r, lay_text *out, lay_error *err) {
    lay_run_table table = {0};
    lay_error why = {0};
    size_t row = 0;
    note_sleep(r);
    if (lay_record_look_at(r->row.path, r->job->options->tach_channel, &r->live_options.tach,
                           !r->job->options->common.quiet, &r->look, &r->warnings, &why) != LAY_OK)
        lay_text_add(&r->warnings, "%s\n", why.message);
    lay_status status = find_row(r, &table, &row, err);
    if (status == LAY_OK) status = say(r, &table.runs[row], row, out);
    lay_run_table_free(&table);
    if (status == LAY_OK && r->end == LAY_LIVE_DEVICE) {
        *err = r->trouble;
        status = LAY_IO;
    }
    return status;
}

static lay_status capture(one_run *r, lay_error *err) {
    FILE *kept = lay_sound_hush();
    lay_record_job job = *r->job;
    job.screen = job.screen ? kept : NULL;
    job.keys = lay_keys_open() && job.screen;
    const lay_record_job *before = r->job;
    r->job = &job;
    lay_status status = lay_sound_begin(err); /* so that the recording starts as soon as it is asked for */
    if (status == LAY_OK) status = plan(r, err);
    if (status == LAY_OK && kept && !job.warned) lay_record_cautions(&job, kept);
    if (status == LAY_OK) status = wait_for_start(r, err);
    if (status == LAY_OK && !r->left) status = record(r, err);
    if (status == LAY_OK && r->end != LAY_LIVE_DEVICE) lay_sound_end(); /* a device that is gone may never answer */
    r->job = before;
    lay_keys_close();
    lay_sound_speak(kept);
    return status;
}

static lay_status run_one(one_run *r, lay_text *out, lay_error *err) {
    lay_status status = lay_record_check(r->job, r->gear, r->load, err);
    if (status == LAY_OK) status = capture(r, err);
    if (status == LAY_OK && r->made) status = report(r, out, err);
    free(r->look.checks);
    lay_text_free(&r->warnings);
    lay_record_row_free(&r->row);
    return status;
}

lay_status lay_record_one(const lay_record_job *job, const char *gear, const char *load, lay_text *out,
                          lay_error *err) {
    one_run r = {.job = job, .gear = gear, .load = load};
    return run_one(&r, out, err);
}

lay_status lay_record_step(const lay_record_job *job, const char *gear, const char *load, lay_text *out, bool *next,
                           lay_error *err) {
    one_run r = {.job = job, .gear = gear, .load = load, .walking = true};
    lay_status status = run_one(&r, out, err);
    *next = r.next || r.made;
    return status;
}
