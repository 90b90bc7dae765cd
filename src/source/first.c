#include "seek.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* The first of two readings: what is wrong with the recording, and how the shaft turned. */

typedef struct first_pass {
    lay_check *check;
    lay_tach *tach;
    lay_seek seek;
    bool seeking; /* the speed is sought in the recording itself; that costs more than all the rest of this reading */
} first_pass;

static lay_status seek_open(first_pass *p, lay_reading *r, const lay_shaft *known, lay_error *err) {
    p->seeking = true;
    return lay_seek_open(r, known, &p->seek, err);
}

static lay_status first_open(first_pass *p, lay_reading *r, lay_error *err) {
    const lay_run_spec *spec = r->spec;
    lay_status status = lay_check_new(r->info->rate, r->info->channels, r->info->integer, &p->check, err);
    if (status == LAY_OK && spec->tach_channel && r->tach_order > 1e-6) {
        lay_tach_options options = {r->info->rate, spec->pulses_per_rev > 0 ? spec->pulses_per_rev : 1, r->tach_order};
        status = lay_tach_new(&options, &p->tach, err);
    }
    if (status == LAY_OK && !p->tach) status = seek_open(p, r, NULL, err);
    return status;
}

static lay_status seek_feed(first_pass *p, lay_reading *r, size_t got, lay_error *err) {
    lay_reading_pick(r, got);
    return lay_seek_feed(&p->seek, r->picked, got, err);
}

static lay_status first_feed(first_pass *p, lay_reading *r, lay_error *err) {
    size_t stride = (size_t)r->info->channels, got = 0;
    lay_status status;
    do {
        status = lay_recording_read(r->recording, r->block, LAY_BLOCK, &got, err);
        if (status == LAY_OK) status = lay_check_feed(p->check, r->block, got, err);
        if (status == LAY_OK && p->tach)
            status = lay_tach_feed(p->tach, r->block + r->spec->tach_channel - 1, stride, got, err);
        if (status == LAY_OK && p->seeking) status = seek_feed(p, r, got, err);
    } while (status == LAY_OK && got > 0);
    return status;
}

static lay_status report_checks(first_pass *p, lay_reading *r, lay_error *err) {
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

/* BAD_INPUT of a speed finder is no error of the run's: it becomes a warning. */
static lay_status soften(lay_status status, const lay_error *local, const char *prefix, lay_reading *r, bool *found,
                         lay_error *err) {
    *found = status == LAY_OK;
    if (status == LAY_OK) return LAY_OK;
    if (status != LAY_BAD_INPUT) return lay_fail(err, status, "%s", local->message);
    lay_text_add(&r->out->warnings, "%s%s\n", prefix, local->message);
    return LAY_OK;
}

static lay_status tach_speed(first_pass *p, lay_reading *r, bool *found, lay_error *err) {
    lay_error local = {0};
    char prefix[40];
    snprintf(prefix, sizeof prefix, "tach channel %d: ", r->spec->tach_channel);
    return soften(lay_tach_finish(p->tach, &r->shaft, &local), &local, prefix, r, found, err);
}

/* The recording once more: the tach failed, or its speed is to tell the gear. */
static lay_status read_again(first_pass *p, lay_reading *r, const lay_shaft *known, bool *found, lay_error *err) {
    size_t got = 1;
    lay_status status = lay_recording_rewind(r->recording, err);
    if (status == LAY_OK) status = seek_open(p, r, known, err);
    while (status == LAY_OK && got > 0) {
        status = lay_recording_read(r->recording, r->block, LAY_BLOCK, &got, err);
        if (status == LAY_OK) status = seek_feed(p, r, got, err);
    }
    return status == LAY_OK ? lay_seek_finish(&p->seek, r, found, err) : status;
}

/* Tach first; the recording itself when there is none, or when the tach cannot be read. */
static lay_status choose_speed(first_pass *p, lay_reading *r, bool *found, lay_error *err) {
    lay_status status = LAY_OK;
    *found = false;
    if (p->tach)
        status = tach_speed(p, r, found, err);
    else if (r->spec->tach_channel)
        lay_reading_warn(r->out, r->out->gear >= 0
                                     ? "the tach looks at a body that does not turn in this gear; it is not used"
                                     : "what the tach counts depends on the gear, and the table gives none: it is not "
                                       "used; state the gear");
    if (status != LAY_OK || (*found && r->out->gear >= 0)) return status;
    if (p->seeking) return lay_seek_finish(&p->seek, r, found, err);
    return read_again(p, r, *found ? &r->shaft : NULL, found, err);
}

static void compare_with_stated(lay_reading *r, double mean_hz) {
    lay_run_evidence *out = r->out;
    double low = r->spec->rpm_low, high = r->spec->rpm_high, rpm = 60 * mean_hz;
    const char *source = lay_speed_source_name(r->shaft.source);
    if (low <= 0) return;
    if (r->shaft.source == LAY_SPEED_TACH && (rpm < 0.9 * low || rpm > 1.1 * high))
        lay_text_add(&out->warnings,
                     "the table says %.0f rpm, the %s says %.0f rpm: check pulses_per_rev, tach_on and the gear\n",
                     low == high ? low : 0.5 * (low + high), source, rpm);
    if (r->shaft.source == LAY_SPEED_STATED && fabs(r->shaft.correction) > 0.005 && r->shaft.confidence > 0.5)
        lay_text_add(&out->warnings, "the table says %.0f rpm; the recording's own lines say %.0f rpm, which is used\n",
                     low, low * (1 + r->shaft.correction));
    if (r->shaft.source == LAY_SPEED_SIGNAL && r->shaft.confidence >= 0.5 && (rpm < 0.97 * low || rpm > 1.03 * high))
        lay_text_add(
            &out->warnings,
            "the table says %.0f to %.0f rpm; the recording's own lines say %.0f rpm on average, which is used\n", low,
            high, rpm);
    if (r->shaft.source == LAY_SPEED_STATED && r->shaft.confidence < 0.3)
        lay_text_add(
            &out->warnings,
            "the stated speed could not be confirmed on the recording; orders may be off: record a tach pulse\n");
}

lay_status lay_reading_first(lay_reading *r, bool *found, lay_error *err) {
    first_pass p = {0};
    r->out->usable = true;
    lay_status status = first_open(&p, r, err);
    if (status == LAY_OK) status = first_feed(&p, r, err);
    if (status == LAY_OK) status = report_checks(&p, r, err);
    if (status == LAY_OK) status = choose_speed(&p, r, found, err);
    lay_check_free(p.check);
    lay_tach_free(p.tach);
    lay_seek_free(&p.seek);
    return status;
}

static void describe_tach(lay_reading *r) {
    const lay_shaft *s = &r->shaft;
    if (s->source != LAY_SPEED_TACH) return;
    if (s->missing_pulses + s->extra_pulses > 0)
        lay_text_add(&r->out->warnings, "tach: %d missing and %d double pulses were mended\n", s->missing_pulses,
                     s->extra_pulses);
    if (s->segment_count > 1)
        lay_text_add(&r->out->warnings, "tach: the pulses stop %zu time%s; nothing is analysed there\n",
                     s->segment_count - 1, s->segment_count == 2 ? "" : "s");
}

void lay_reading_take_speed(lay_reading *r) {
    lay_run_evidence *out = r->out;
    lay_shaft_range(&r->shaft, &out->min_hz, &out->mean_hz, &out->max_hz, &out->revolutions);
    out->speed_source = r->shaft.source;
    out->speed_confidence = r->shaft.confidence;
    out->speed_correction = r->shaft.correction;
    describe_tach(r);
    compare_with_stated(r, out->mean_hz);
}
