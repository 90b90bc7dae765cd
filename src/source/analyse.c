#include "combs.h"
#include "fixed_hz.h"
#include "plan.h"
#include "reading.h"

#include <math.h>
#include <stdlib.h>

/* One recording is read twice: once for its checks and the shaft's angle, once for the order spectrum. */

#define SPEED_CLASSES 12
#define SLOW_RATE                                                                                                      \
    11000.0 /* below, hardly any resonance of a bearing's surroundings is left (common practice, no source) */
#define FEW_TURNS 24.0 /* some ten turns of a cage */

void lay_reading_warn(lay_run_evidence *out, const char *text) {
    lay_text_add(&out->warnings, "%s\n", text);
}

void lay_run_evidence_free(lay_run_evidence *run) {
    if (!run) return;
    lay_kinematics_free(&run->kinematics);
    free(run->expected);
    free(run->lines);
    free(run->fixed_hz);
    lay_shaft_free(&run->shaft);
    lay_order_spectrum_free(&run->spectrum);
    lay_envelope_spectrum_free(&run->envelope);
    lay_text_free(&run->warnings);
    *run = (lay_run_evidence){0};
}

void lay_reading_pick(const lay_reading *r, size_t frames) {
    size_t all = (size_t)r->info->channels, n = r->channel_count;
    for (size_t i = 0; i < frames; i++)
        for (size_t c = 0; c < n; c++) {
            double gain = r->spec->gain_count == 0 ? 1 : r->spec->gains[c];
            r->picked[i * n + c] = gain * r->block[i * all + (size_t)r->channels[c]];
        }
}

/* What listens to the second reading. */
typedef struct lay_listeners {
    lay_order *order;
    lay_envelope *envelope; /* NULL: none can be had */
} lay_listeners;

/* A recording without an envelope still has its lines: what is wrong is said, no more. */
static lay_status said(lay_run_evidence *out, lay_status status, const lay_error *why, lay_error *err) {
    if (status == LAY_BAD_INPUT) {
        lay_text_add(&out->warnings, "bearings and tooth damage were not looked for: %s\n", why->message);
        return LAY_OK;
    }
    return status == LAY_OK ? LAY_OK : lay_fail(err, status, "%s", why->message);
}

static lay_status start_listening(lay_reading *r, const lay_analysis_options *options, lay_listeners *l,
                                  lay_error *err) {
    lay_run_evidence *out = r->out;
    lay_order_options o = {.rate = r->info->rate,
                           .channels = (int)r->channel_count,
                           .window = LAY_WINDOW_HANN,
                           .overlap = 0.5,
                           .speed_classes = SPEED_CLASSES};
    o.max_order =
        options && options->max_order > 0 ? options->max_order : lay_plan_max_order(out->expected, out->expected_count);
    o.max_order = fmax(8, fmin(o.max_order, 0.49 * o.rate / fmax(out->min_hz, 0.5)));
    o.resolution = options && options->resolution > 0
                       ? options->resolution
                       : lay_plan_resolution(out->expected, out->expected_count, out->revolutions);
    lay_status status = lay_order_new(&o, &r->shaft, &l->order, err);
    if (status != LAY_OK) return status;
    lay_combs combs;
    lay_combs_collect(out, &combs);
    lay_envelope_options e = {
        .rate = o.rate, .channels = o.channels, .locked = combs.order, .locked_count = combs.count};
    lay_error why = {0};
    return said(out, lay_envelope_new(&e, &r->shaft, &l->envelope, &why), &why, err);
}

static lay_status listen(lay_reading *r, const lay_listeners *l, lay_error *err) {
    size_t got = 1;
    lay_status status = LAY_OK;
    while (status == LAY_OK && got > 0) {
        status = lay_recording_read(r->recording, r->block, LAY_BLOCK, &got, err);
        if (status != LAY_OK || got == 0) break;
        lay_reading_pick(r, got);
        status = lay_order_feed(l->order, r->picked, got, err);
        if (status == LAY_OK && l->envelope) status = lay_envelope_feed(l->envelope, r->picked, got, err);
    }
    return status;
}

static lay_status stop_listening(lay_run_evidence *out, const lay_listeners *l, lay_error *err) {
    lay_error why = {0};
    lay_status status = lay_order_finish(l->order, &out->spectrum, &why);
    if (status == LAY_BAD_INPUT) {
        out->usable = false;
        lay_reading_warn(out, why.message);
        return LAY_OK;
    }
    if (status != LAY_OK) return lay_fail(err, status, "%s", why.message);
    return l->envelope ? said(out, lay_envelope_finish(l->envelope, &out->envelope, &why), &why, err) : LAY_OK;
}

static lay_status second_reading(lay_reading *r, const lay_analysis_options *options, lay_error *err) {
    lay_listeners l = {0};
    lay_status status = lay_recording_rewind(r->recording, err);
    if (status == LAY_OK) status = start_listening(r, options, &l, err);
    if (status == LAY_OK) status = listen(r, &l, err);
    if (status == LAY_OK) status = stop_listening(r->out, &l, err);
    lay_order_free(l.order);
    lay_envelope_free(l.envelope);
    return status;
}

static lay_status collect_lines(lay_reading *r, lay_error *err) {
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

static void warn_about_length(lay_run_evidence *out) {
    if (out->spectrum.step > 1.0 / 16 + 1e-9 || out->spectrum.segments < 4)
        lay_text_add(&out->warnings,
                     "short: only %.0f turns of the reference shaft; record at least 200 for a sure verdict\n",
                     out->revolutions);
}

/* What the envelope could not show of bearings and teeth, and what a better recording needs. */
static void warn_about_envelope(lay_run_evidence *out, double rate) {
    const lay_envelope_spectrum *e = &out->envelope;
    if (e->band_count == 0) return;
    if (rate < SLOW_RATE)
        lay_text_add(
            &out->warnings,
            "sampled at %.0f Hz: blows can be heard up to %.1f kHz only, and bearings often ring higher; record "
            "at 32 kHz or more\n",
            rate, 0.47e-3 * rate);
    if (e->revolutions < FEW_TURNS)
        lay_text_add(&out->warnings,
                     "only %.0f turns for the envelope, %.0f of a bearing's cage: weak bearing defects do not show; "
                     "record at least 200 turns\n",
                     e->revolutions, 0.4 * e->revolutions);
}

static lay_status measure(lay_reading *r, const lay_analysis_options *options, lay_error *err) {
    bool found = false;
    lay_status status = lay_reading_first(r, &found, err);
    if (status != LAY_OK || !found || !r->out->usable) {
        r->out->usable = false;
        return status;
    }
    lay_reading_take_speed(r);
    if (r->out->gear < 0) {
        r->out->usable = false;
        return LAY_OK;
    }
    status = second_reading(r, options, err);
    if (status != LAY_OK || !r->out->usable) return status;
    warn_about_length(r->out);
    warn_about_envelope(r->out, r->info->rate);
    return collect_lines(r, err);
}

lay_status lay_reading_open(lay_reading *r, lay_error *err) {
    lay_run_evidence *out = r->out;
    lay_status status = lay_reading_gear(r, err);
    if (status == LAY_OK && out->gear >= 0) status = lay_reading_use_gear(r, out->gear, err);
    if (status == LAY_OK) status = lay_recording_open(r->spec->path, r->spec->csv_rate, &r->recording, err);
    if (status != LAY_OK) return status;
    r->info = lay_recording_get_info(r->recording);
    out->duration_s = (double)r->info->frames / r->info->rate;
    if (r->info->rate < 8000)
        lay_reading_warn(out, "sampled below 8 kHz: mesh harmonics are cut off; record at 16 kHz or more");
    status = lay_reading_channels(r, err);
    if (status == LAY_OK) status = lay_reading_tach(r, err);
    if (status != LAY_OK) return status;
    r->block = lay_calloc(LAY_BLOCK * (size_t)r->info->channels, sizeof *r->block);
    r->picked = lay_calloc(LAY_BLOCK * r->channel_count, sizeof *r->picked);
    return r->block && r->picked ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
}

void lay_reading_close(lay_reading *r) {
    lay_recording_close(r->recording);
    lay_shaft_free(&r->shaft);
    free(r->channels);
    free(r->block);
    free(r->picked);
    free(r->gear_probability);
}

lay_status lay_run_analyse(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                           const lay_analysis_options *options, lay_run_evidence *out, lay_error *err) {
    *out = (lay_run_evidence){.tach_body = -1,
                              .load = spec->load,
                              .sensor = spec->sensor,
                              .quantity = spec->quantity,
                              .full_scale = spec->full_scale > 0 ? spec->full_scale : 1};
    lay_reading r = {.unit = unit, .spec = spec, .table_path = table_path, .out = out};
    lay_status status = lay_reading_open(&r, err);
    if (status == LAY_OK) status = measure(&r, options, err);
    if (status == LAY_OK && out->usable) { /* for whoever reads the recording again */
        out->shaft = r.shaft;
        r.shaft = (lay_shaft){0};
    }
    lay_reading_close(&r);
    if (status != LAY_OK) lay_run_evidence_free(out);
    return status;
}
