/* A recording read again after it was made: what is wrong with it is said while it can still be repeated. */
#include <math.h>
#include <stdlib.h>

#include "record.h"
#include "terminal.h"

#define FRAMES 8192

typedef struct looking {
    lay_recording *rec;
    const lay_recording_info *info;
    lay_check *check;
    lay_tach *tach;
    double *block;
} looking;

static lay_status begin(looking *w, const char *path, int tach_channel, const lay_tach_options *tach, lay_error *err) {
    lay_status status = lay_recording_open(path, 0, &w->rec, err);
    if (status != LAY_OK) return status;
    w->info = lay_recording_get_info(w->rec);
    w->block = lay_calloc(FRAMES * (size_t)w->info->channels, sizeof *w->block);
    if (!w->block) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    status = lay_check_new(w->info->rate, w->info->channels, w->info->integer, &w->check, err);
    lay_tach_options options = *tach;
    options.rate = w->info->rate;
    if (status == LAY_OK && tach_channel > 0) status = lay_tach_new(&options, &w->tach, err);
    return status;
}

static lay_status read_all(looking *w, int tach_channel, bool progress, lay_error *err) {
    size_t got = 1, stride = (size_t)w->info->channels;
    int64_t done = 0;
    lay_status status = LAY_OK;
    while (status == LAY_OK && got > 0) {
        status = lay_recording_read(w->rec, w->block, FRAMES, &got, err);
        if (status == LAY_OK && got > 0) status = lay_check_feed(w->check, w->block, got, err);
        if (status == LAY_OK && w->tach) status = lay_tach_feed(w->tach, w->block + tach_channel - 1, stride, got, err);
        done += (int64_t)got;
        if (progress) lay_terminal_percent("checking the recording", (double)done / (double)w->info->frames);
    }
    if (progress) lay_terminal_percent(NULL, 1);
    return status;
}

static lay_status sum_up_tach(looking *w, lay_record_look *out, lay_text *warnings, lay_error *err) {
    lay_shaft shaft = {0};
    lay_error why = {0};
    double mean, turns;
    lay_status status = lay_tach_finish(w->tach, &shaft, &why);
    if (status == LAY_BAD_INPUT) {
        lay_text_add(warnings, "the tach cannot be used: %s\n", why.message);
        return LAY_OK;
    }
    if (status != LAY_OK) return lay_fail(err, status, "%s", why.message);
    lay_shaft_range(&shaft, &out->tach.min_hz, &mean, &out->tach.max_hz, &turns);
    out->tach.missing = shaft.missing_pulses;
    out->tach.extra = shaft.extra_pulses;
    out->tach.glitches = shaft.glitches;
    out->has_tach = true;
    lay_shaft_free(&shaft);
    return LAY_OK;
}

static lay_status sum_up(looking *w, int tach_channel, lay_record_look *out, lay_text *warnings, lay_error *err) {
    int channels = w->info->channels;
    out->checks = lay_calloc((size_t)channels, sizeof *out->checks);
    if (!out->checks) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    lay_status status = lay_check_finish(w->check, out->checks, err);
    for (int c = 0; status == LAY_OK && c < channels; c++)
        if (c + 1 != tach_channel) lay_check_describe(&out->checks[c], c + 1, w->info->rate, w->info->frames, warnings);
    return status == LAY_OK && w->tach ? sum_up_tach(w, out, warnings, err) : status;
}

lay_status lay_record_look_at(const char *path, int tach_channel, const lay_tach_options *tach, bool progress,
                              lay_record_look *out, lay_text *warnings, lay_error *err) {
    looking w = {0};
    *out = (lay_record_look){0};
    lay_status status = begin(&w, path, tach_channel, tach, err);
    if (status == LAY_OK) status = read_all(&w, tach_channel, progress, err);
    if (status == LAY_OK) status = sum_up(&w, tach_channel, out, warnings, err);
    if (status != LAY_OK) {
        free(out->checks);
        *out = (lay_record_look){0};
    }
    lay_recording_close(w.rec);
    lay_check_free(w.check);
    lay_tach_free(w.tach);
    free(w.block);
    return status;
}
