#include <layshaft/source.h>

#include "fixed_hz.h"
#include "plan.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One recording is read twice: once for its checks and the shaft's angle, once for the order spectrum. */

#define BLOCK 8192
#define SPEED_CLASSES 12

/* What the steps below share while a run is analysed. */
typedef struct reading {
    const lay_unit *unit;
    const lay_run_spec *spec;
    const char *table_path;
    lay_recording *recording;
    const lay_recording_info *info;
    int *channels; /* 0-based, analysed */
    size_t channel_count;
    double tach_order; /* |turns| of the tach's body per reference turn */
    double *block;     /* BLOCK frames as read */
    double *picked;    /* BLOCK frames of the analysed channels */
    lay_shaft shaft;
    lay_run_evidence *out;
} reading;

static lay_status bad_row(const reading *r, lay_error *err, const char *message)
{
    return lay_fail_at(err, LAY_BAD_INPUT, r->table_path ? r->table_path : r->spec->file, r->spec->line, 0, 0, "", "%s", message);
}

static void warn(lay_run_evidence *out, const char *text)
{
    lay_text_add(&out->warnings, "%s\n", text);
}

void lay_run_evidence_free(lay_run_evidence *run)
{
    if (!run) return;
    lay_kinematics_free(&run->kinematics);
    free(run->expected);
    free(run->lines);
    free(run->fixed_hz);
    lay_order_spectrum_free(&run->spectrum);
    lay_text_free(&run->warnings);
    *run = (lay_run_evidence){0};
}

/* ---- the row of the table against the unit and the recording ---- */

static lay_status wrong_gear(const reading *r, lay_error *err)
{
    lay_text known = {0};
    for (size_t i = 0; i < r->unit->gear_count; i++) lay_text_add(&known, "%s%s", i ? ", " : "", r->unit->gears[i].name);
    lay_status status = lay_fail_at(err, LAY_BAD_INPUT, r->table_path ? r->table_path : r->spec->file, r->spec->line, 0, 0, "",
                                    "the unit has no gear '%s'; it has %s", r->spec->gear, known.text ? known.text : "none");
    lay_text_free(&known);
    return status;
}

static lay_status resolve_gear(reading *r, lay_error *err)
{
    r->out->gear = -1;
    if (r->spec->gear && r->spec->gear[0]) {
        r->out->gear = lay_unit_gear(r->unit, r->spec->gear);
        return r->out->gear < 0 ? wrong_gear(r, err) : LAY_OK;
    }
    if (r->unit->gear_count == 1) r->out->gear = 0;
    return LAY_OK;
}

static lay_status resolve_channels(reading *r, lay_error *err)
{
    char text[160];
    int have = r->info->channels, tach = r->spec->tach_channel;
    if (tach > have) {
        snprintf(text, sizeof text, "tach_channel is %d, but the recording has %d channel%s", tach, have, have == 1 ? "" : "s");
        return bad_row(r, err, text);
    }
    r->channels = lay_calloc((size_t)have + r->spec->channel_count, sizeof *r->channels);
    if (!r->channels) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; i < r->spec->channel_count; i++) {
        if (r->spec->channels[i] > have) {
            snprintf(text, sizeof text, "channel %d is asked for, but the recording has %d", r->spec->channels[i], have);
            return bad_row(r, err, text);
        }
        if (r->spec->channels[i] == tach) return bad_row(r, err, "the tach channel cannot be analysed as vibration as well");
        r->channels[r->channel_count++] = r->spec->channels[i] - 1;
    }
    for (int c = 0; c < have && r->spec->channel_count == 0; c++)
        if (c + 1 != tach) r->channels[r->channel_count++] = c;
    if (r->channel_count == 0) return bad_row(r, err, "the recording has a tach channel but no channel to analyse");
    return LAY_OK;
}

static lay_status resolve_tach(reading *r, lay_error *err)
{
    r->tach_order = 1;
    if (!r->spec->tach_channel || !r->spec->tach_on || !r->spec->tach_on[0]) return LAY_OK;
    int body = lay_unit_body(r->unit, r->spec->tach_on);
    if (body < 0) {
        char text[256];
        snprintf(text, sizeof text, "tach_on names '%.100s', which is no body of the unit", r->spec->tach_on);
        return bad_row(r, err, text);
    }
    r->out->tach_body = body;
    if (r->out->gear >= 0) r->tach_order = fabs(r->out->kinematics.speed[body].value);
    return LAY_OK;
}

/* ---- first reading: checks and speed ---- */

typedef struct first_pass {
    lay_check *check;
    lay_tach *tach;
    lay_refine *refine;
    double orders[LAY_PLAN_ORDERS], weights[LAY_PLAN_ORDERS];
} first_pass;

static lay_status first_open(first_pass *p, reading *r, lay_error *err)
{
    const lay_run_spec *spec = r->spec;
    lay_status status = lay_check_new(r->info->rate, r->info->channels, r->info->integer, &p->check, err);
    if (status == LAY_OK && spec->tach_channel && r->tach_order > 1e-6) {
        lay_tach_options options = {r->info->rate, spec->pulses_per_rev > 0 ? spec->pulses_per_rev : 1, r->tach_order};
        status = lay_tach_new(&options, &p->tach, err);
    }
    if (status == LAY_OK && spec->rpm_low > 0) {
        size_t count = lay_plan_speed_orders(&r->out->kinematics, r->out->expected, r->out->expected_count, p->orders, p->weights);
        double search = spec->rpm_low == spec->rpm_high ? 0.05 : 0.03;
        lay_refine_options options = {r->info->rate, spec->rpm_low / 60, spec->rpm_high / 60, search, p->orders, p->weights, count};
        status = lay_refine_new(&options, &p->refine, err);
    }
    return status;
}

static lay_status first_feed(first_pass *p, reading *r, lay_error *err)
{
    size_t stride = (size_t)r->info->channels, got = 0;
    lay_status status;
    do {
        status = lay_recording_read(r->recording, r->block, BLOCK, &got, err);
        if (status == LAY_OK) status = lay_check_feed(p->check, r->block, got, err);
        if (status == LAY_OK && p->tach) status = lay_tach_feed(p->tach, r->block + r->spec->tach_channel - 1, stride, got, err);
        if (status == LAY_OK && p->refine) status = lay_refine_feed(p->refine, r->block + r->channels[0], stride, got, err);
    } while (status == LAY_OK && got > 0);
    return status;
}

static lay_status report_checks(first_pass *p, reading *r, lay_error *err)
{
    lay_channel_check *checks = lay_calloc((size_t)r->info->channels, sizeof *checks);
    if (!checks) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = lay_check_finish(p->check, checks, err);
    bool silent = true;
    for (size_t i = 0; status == LAY_OK && i < r->channel_count; i++) {
        int c = r->channels[i];
        lay_check_describe(&checks[c], c + 1, r->info->rate, r->info->frames, &r->out->warnings);
        silent = silent && checks[c].silent;
    }
    if (silent) r->out->usable = false;
    free(checks);
    return status;
}

/* Tach first; the stated speed when there is none, or when the tach cannot be read. A tach that fails is a warning. */
static lay_status choose_speed(first_pass *p, reading *r, bool *found, lay_error *err)
{
    lay_error local = {0};
    lay_status status = LAY_OK;
    *found = false;
    if (p->tach) {
        status = lay_tach_finish(p->tach, &r->shaft, &local);
        if (status == LAY_OK) *found = true;
        else if (status == LAY_BAD_INPUT) lay_text_add(&r->out->warnings, "tach channel %d: %s\n", r->spec->tach_channel, local.message);
        else return lay_fail(err, status, "%s", local.message);
    } else if (r->spec->tach_channel)
        warn(r->out, "the tach looks at a body that does not turn in this gear; it is not used");
    if (!*found && p->refine) {
        status = lay_refine_finish(p->refine, &r->shaft, &local);
        if (status == LAY_OK) *found = true;
        else if (status == LAY_BAD_INPUT) warn(r->out, local.message);
        else return lay_fail(err, status, "%s", local.message);
    }
    if (!*found && !p->tach && !p->refine)
        warn(r->out, "no speed: the table gives neither tach_channel nor rpm for this run; add one of them");
    return LAY_OK;
}

static void compare_with_stated(reading *r, double mean_hz)
{
    lay_run_evidence *out = r->out;
    double low = r->spec->rpm_low, high = r->spec->rpm_high, rpm = 60 * mean_hz;
    const char *source = lay_speed_source_name(r->shaft.source);
    if (low <= 0) return;
    if (r->shaft.source == LAY_SPEED_TACH && (rpm < 0.9 * low || rpm > 1.1 * high))
        lay_text_add(&out->warnings, "the table says %.0f rpm, the %s says %.0f rpm: check pulses_per_rev, tach_on and the gear\n",
                     low == high ? low : 0.5 * (low + high), source, rpm);
    if (r->shaft.source == LAY_SPEED_STATED && fabs(r->shaft.correction) > 0.005 && r->shaft.confidence > 0.5)
        lay_text_add(&out->warnings, "the table says %.0f rpm; the recording's own lines say %.0f rpm, which is used\n",
                     low, low * (1 + r->shaft.correction));
    if (r->shaft.source == LAY_SPEED_STATED && r->shaft.confidence < 0.3)
        lay_text_add(&out->warnings, "the stated speed could not be confirmed on the recording; orders may be off: record a tach pulse\n");
}

static lay_status first_reading(reading *r, bool *found, lay_error *err)
{
    first_pass p = {0};
    r->out->usable = true;
    lay_status status = first_open(&p, r, err);
    if (status == LAY_OK) status = first_feed(&p, r, err);
    if (status == LAY_OK) status = report_checks(&p, r, err);
    if (status == LAY_OK) status = choose_speed(&p, r, found, err);
    lay_check_free(p.check);
    lay_tach_free(p.tach);
    lay_refine_free(p.refine);
    return status;
}

static void describe_tach(reading *r)
{
    const lay_shaft *s = &r->shaft;
    if (s->source != LAY_SPEED_TACH) return;
    if (s->missing_pulses + s->extra_pulses > 0)
        lay_text_add(&r->out->warnings, "tach: %d missing and %d double pulses were mended\n", s->missing_pulses, s->extra_pulses);
    if (s->segment_count > 1)
        lay_text_add(&r->out->warnings, "tach: the pulses stop %zu time%s; nothing is analysed there\n", s->segment_count - 1,
                     s->segment_count == 2 ? "" : "s");
}

static void take_speed(reading *r)
{
    lay_run_evidence *out = r->out;
    lay_shaft_range(&r->shaft, &out->min_hz, &out->mean_hz, &out->max_hz, &out->revolutions);
    out->speed_source = r->shaft.source;
    out->speed_confidence = r->shaft.confidence;
    out->speed_correction = r->shaft.correction;
    describe_tach(r);
    compare_with_stated(r, out->mean_hz);
}

/* ---- second reading: the order spectrum ---- */

static void pick_channels(const reading *r, size_t frames)
{
    size_t all = (size_t)r->info->channels, n = r->channel_count;
    for (size_t i = 0; i < frames; i++)
        for (size_t c = 0; c < n; c++) r->picked[i * n + c] = r->block[i * all + (size_t)r->channels[c]];
}

static lay_status second_reading(reading *r, const lay_analysis_options *options, lay_error *err)
{
    lay_run_evidence *out = r->out;
    lay_order *order = NULL;
    lay_order_options o = {.rate = r->info->rate, .channels = (int)r->channel_count, .window = LAY_WINDOW_HANN, .overlap = 0.5,
                           .speed_classes = SPEED_CLASSES};
    o.max_order = options && options->max_order > 0 ? options->max_order : lay_plan_max_order(out->expected, out->expected_count);
    o.max_order = fmax(8, fmin(o.max_order, 0.49 * o.rate / fmax(out->min_hz, 0.5)));
    o.resolution = options && options->resolution > 0
                       ? options->resolution
                       : lay_plan_resolution(out->expected, out->expected_count, out->revolutions);
    lay_status status = lay_recording_rewind(r->recording, err);
    if (status == LAY_OK) status = lay_order_new(&o, &r->shaft, &order, err);
    size_t got = 1;
    while (status == LAY_OK && got > 0) {
        status = lay_recording_read(r->recording, r->block, BLOCK, &got, err);
        if (status != LAY_OK || got == 0) break;
        pick_channels(r, got);
        status = lay_order_feed(order, r->picked, got, err);
    }
    if (status == LAY_OK) {
        lay_error local = {0};
        status = lay_order_finish(order, &out->spectrum, &local);
        if (status == LAY_BAD_INPUT) {
            out->usable = false;
            warn(out, local.message);
            status = LAY_OK;
        } else if (status != LAY_OK)
            lay_fail(err, status, "%s", local.message);
    }
    lay_order_free(order);
    return status;
}

static lay_status collect_lines(reading *r, lay_error *err)
{
    lay_run_evidence *out = r->out;
    lay_line *lines = NULL;
    lay_status status = lay_fixed_hz_find(out, err);
    if (status == LAY_OK) status = lay_lines_find(&out->spectrum, 3, &lines, &out->line_count, err);
    if (status != LAY_OK) return status;
    out->lines = lay_calloc(out->line_count + 1, sizeof *out->lines);
    if (!out->lines) {
        free(lines);
        out->line_count = 0;
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the lines");
    }
    for (size_t i = 0; i < out->line_count; i++) out->lines[i].line = lines[i];
    free(lines);
    lay_run_explain(r->unit, out);
    return LAY_OK;
}

static void warn_about_length(lay_run_evidence *out)
{
    if (out->spectrum.step > 1.0 / 16 + 1e-9 || out->spectrum.segments < 4)
        lay_text_add(&out->warnings, "short: only %.0f turns of the reference shaft; record at least 200 for a sure verdict\n",
                     out->revolutions);
}

static lay_status measure(reading *r, const lay_analysis_options *options, lay_error *err)
{
    bool found = false;
    lay_status status = first_reading(r, &found, err);
    if (status != LAY_OK || !found || !r->out->usable) {
        r->out->usable = false;
        return status;
    }
    take_speed(r);
    status = second_reading(r, options, err);
    if (status != LAY_OK || !r->out->usable) return status;
    warn_about_length(r->out);
    return collect_lines(r, err);
}

static lay_status prepare(reading *r, lay_error *err)
{
    lay_run_evidence *out = r->out;
    lay_status status = resolve_gear(r, err);
    if (status == LAY_OK && out->gear >= 0) status = lay_unit_solve(r->unit, out->gear, &out->kinematics, err);
    if (status == LAY_OK && out->gear >= 0) status = lay_unit_expect(r->unit, &out->kinematics, &out->expected, &out->expected_count, err);
    if (status == LAY_OK) status = lay_recording_open(r->spec->path, r->spec->csv_rate, &r->recording, err);
    if (status != LAY_OK) return status;
    r->info = lay_recording_get_info(r->recording);
    out->duration_s = (double)r->info->frames / r->info->rate;
    if (r->info->rate < 8000) warn(out, "sampled below 8 kHz: mesh harmonics are cut off; record at 16 kHz or more");
    status = resolve_channels(r, err);
    if (status == LAY_OK) status = resolve_tach(r, err);
    if (status != LAY_OK) return status;
    r->block = lay_calloc(BLOCK * (size_t)r->info->channels, sizeof *r->block);
    r->picked = lay_calloc(BLOCK * r->channel_count, sizeof *r->picked);
    return r->block && r->picked ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
}

lay_status lay_run_analyse(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                           const lay_analysis_options *options, lay_run_evidence *out, lay_error *err)
{
    *out = (lay_run_evidence){.tach_body = -1, .load = spec->load, .sensor = spec->sensor, .quantity = spec->quantity,
                              .full_scale = spec->full_scale > 0 ? spec->full_scale : 1};
    reading r = {.unit = unit, .spec = spec, .table_path = table_path, .out = out};
    lay_status status = prepare(&r, err);
    if (status == LAY_OK && out->gear < 0)
        warn(out, "the gear is not given, so no order can be named: write it into the table");
    else if (status == LAY_OK)
        status = measure(&r, options, err);
    lay_recording_close(r.recording);
    lay_shaft_free(&r.shaft);
    free(r.channels);
    free(r.block);
    free(r.picked);
    if (status != LAY_OK) lay_run_evidence_free(out);
    return status;
}
