/* A calibrator on the sensor: how much full scale is, for the recordings that follow. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "keys.h"
#include "record.h"
#include "sound.h"
#include "terminal.h"

#define USUAL_S 10.0
#define LOUDEST_DB 20.0 /* a channel is the calibrator's without being named when it is so far above the others */

typedef struct calibrating {
    const lay_record_job *job;
    lay_calibrator calibrator;
    lay_live live;
    char *file, *path;
    int channel;
    bool left;
    lay_calibrator_tone tone;
} calibrating;

/* ---- recording the tone ---- */

static lay_status record_tone(calibrating *w, FILE *screen, bool keys, lay_error *err) {
    const lay_record_options *o = w->job->options;
    lay_text comment = {0};
    lay_text_add(&comment, "layshaft calibration; calibrator=%s; begun=%s", o->calibrate, lay_clock_moment().text);
    lay_live_options options = {
        .capture = lay_record_capture(o), .screen = screen, .colour = lay_terminal_colour((lay_colour)o->colour)};
    lay_status status = comment.failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory") : LAY_OK;
    if (status == LAY_OK && keys && !o->now) {
        status = lay_live_open(&options, &w->live, err);
        lay_live_end end = LAY_LIVE_KEY;
        if (status == LAY_OK)
            end = lay_live_run(&w->live, "put the calibrator on the sensor and switch it on", " \n",
                               "Enter or space: start   q: leave", 0);
        if (status == LAY_OK) status = lay_live_close(&w->live, err);
        w->left = end == LAY_LIVE_QUIT || end == LAY_LIVE_SIGNAL;
    }
    options.path = w->path;
    options.seconds = o->seconds > 0 ? o->seconds : USUAL_S;
    options.capture.comment = comment.text;
    if (status == LAY_OK && !w->left) status = lay_live_open(&options, &w->live, err);
    if (status == LAY_OK && !w->left) {
        lay_live_run(&w->live, "calibrating", " \n", "hold still", options.seconds);
        status = lay_live_close(&w->live, err);
    }
    lay_text_free(&comment);
    return status;
}

static lay_status capture(calibrating *w, lay_error *err) {
    FILE *kept = lay_sound_hush();
    FILE *screen = w->job->screen ? kept : NULL;
    bool keys = lay_keys_open() && screen;
    lay_status status = record_tone(w, screen, keys, err);
    lay_keys_close();
    lay_sound_speak(kept);
    return status;
}

/* ---- whose tone it is ---- */

/* The one channel that holds the tone; the last reason why not when none does. */
static lay_status find_channel(calibrating *w, lay_error *err) {
    double best = 0, second = 0;
    lay_status status = LAY_OK;
    lay_error why = {0};
    for (int c = 1; c <= w->live.state.channels; c++) {
        lay_calibrator_tone tone;
        if (c == w->job->options->tach_channel) continue;
        status = lay_calibrator_measure(w->path, c, &tone, &why);
        if (status != LAY_OK && status != LAY_BAD_INPUT) return lay_fail(err, status, "%s", why.message);
        if (status != LAY_OK) continue;
        second = tone.rms > best ? best : fmax(second, tone.rms);
        if (tone.rms <= best) continue;
        best = tone.rms;
        w->tone = tone;
        w->channel = c;
    }
    if (w->channel == 0 && w->live.state.channels == 1) return lay_fail(err, LAY_BAD_INPUT, "%s", why.message);
    if (w->channel == 0)
        return lay_fail(err, LAY_BAD_INPUT, "no channel holds a steady tone; is the calibrator on? (%s)", why.message);
    if (20 * log10(best / fmax(second, 1e-12)) < LOUDEST_DB)
        return lay_fail(err, LAY_BAD_INPUT, "more than one channel holds the tone; say which with --channel");
    return LAY_OK;
}

static lay_status measure(calibrating *w, lay_error *err) {
    const char *wish = w->job->options->channel;
    if (!wish) return find_channel(w, err);
    double number;
    if (!lay_parse_number(wish, &number) || !(number >= 1 && number <= w->live.state.channels) ||
        number != floor(number))
        return lay_fail(err, LAY_BAD_USAGE, "--channel takes one channel of %d to calibrate, not '%.40s'",
                        w->live.state.channels, wish);
    w->channel = (int)number;
    return lay_calibrator_measure(w->path, w->channel, &w->tone, err);
}

static lay_status store(calibrating *w, lay_text *out, lay_error *err) {
    const lay_record_options *o = w->job->options;
    lay_calibration c = {w->channel, w->calibrator.rms / w->tone.rms, w->calibrator.quantity, ""};
    lay_text warnings = {0};
    snprintf(c.when, sizeof c.when, "%s", lay_clock_moment().text);
    lay_status status = lay_calibration_add(w->job->calibrations, w->live.state.device, &c, &w->tone, w->file, err);
    lay_calibrator_describe(&w->tone, &warnings);
    const lay_calibrated made = {.unit = w->job->unit,
                                 .calibration = &c,
                                 .tone = &w->tone,
                                 .device = w->live.state.device,
                                 .file = w->path,
                                 .warnings = &warnings};
    if (status == LAY_OK && o->common.json) status = lay_report_calibrated_json(&made, false, out);
    if (status == LAY_OK && !o->common.json)
        status =
            lay_report_calibrated_text(&made, lay_terminal_colour((lay_colour)o->colour), lay_terminal_width(), out);
    lay_text_free(&warnings);
    return status;
}

lay_status lay_record_calibrate(const lay_record_job *job, lay_text *out, lay_error *err) {
    calibrating w = {.job = job};
    lay_status status = lay_calibrator_parse(job->options->calibrate, &w.calibrator, err);
    if (status == LAY_OK && !(w.file = lay_record_name(job, "calibration", err))) status = LAY_NO_MEMORY;
    if (status == LAY_OK && !(w.path = lay_path_join(job->folder, w.file)))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK) status = capture(&w, err);
    if (status == LAY_OK && !w.left) status = measure(&w, err);
    if (status == LAY_OK && !w.left) status = store(&w, out, err);
    free(w.file);
    free(w.path);
    return status;
}
