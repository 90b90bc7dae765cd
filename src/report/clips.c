#include "clips.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SECONDS 4.0
#define BLOCKS 16         /* steps in which the loudest place is sought, per clip */
#define LOUDEST 0.7       /* of full scale */
#define LIFT_MOST 30.0    /* dB */
#define FADE_S 0.02       /* at both ends */
#define RATE_MOST 50000.0 /* browsers need not take more */
#define RATE_THEN 48000.0
#define WORTH 0.25 /* probability */
#define HEARD 2    /* suspects */

static const char *const endings[LAY_CLIPS] = {"recorded", "alone", "without"};

static void name_clip(char *out, size_t size, size_t suspect, int which) {
    snprintf(out, size, "suspect-%zu-%s.flac", suspect + 1, endings[which]);
}

bool lay_clips_worth(const lay_report_view *view, size_t suspect) {
    const lay_verdict *v = &view->d->verdict;
    if (suspect >= v->suspect_count || suspect >= HEARD || v->outcome == LAY_CLEAR) return false;
    const lay_suspect *s = &v->suspects[suspect];
    bool likely = suspect == 0 || s->probability >= WORTH;
    return likely && s->part != NULL && s->best_run >= 0 && (size_t)s->best_run < lay_report_run_count(view);
}

/* ---- the loudest seconds ---- */

/* The last seconds of one channel, and the best so far. */
typedef struct listener {
    size_t channels, length, block; /* frames */
    double *part, *rest;            /* [length] the last ones, in a ring */
    double *best_part, *best_rest;  /* [length] unrolled */
    size_t next, held;
    int64_t done, best_end;
    double sums[BLOCKS], best; /* power of the last blocks, in a ring too */
} listener;

static void keep(listener *l) {
    size_t start = (l->next + l->length - l->held) % l->length;
    for (size_t i = 0; i < l->held; i++) {
        l->best_part[i] = l->part[(start + i) % l->length];
        l->best_rest[i] = l->rest[(start + i) % l->length];
    }
    l->best_end = l->done;
}

static void end_block(listener *l) {
    size_t at = (size_t)(l->done / (int64_t)l->block) % BLOCKS;
    double sum = 0;
    for (int i = 0; i < BLOCKS; i++) sum += l->sums[i];
    if (l->held == l->length && sum > l->best) {
        l->best = sum;
        keep(l);
    }
    l->sums[at] = 0; /* the oldest block goes */
}

static lay_status take(const double *part, const double *rest, size_t frames, void *user, lay_error *err) {
    listener *l = user;
    (void)err;
    for (size_t i = 0; i < frames; i++) {
        double p = part[i * l->channels], r = rest[i * l->channels];
        l->part[l->next] = p;
        l->rest[l->next] = r;
        l->sums[(size_t)(l->done / (int64_t)l->block) % BLOCKS] += p * p;
        l->next = (l->next + 1) % l->length;
        l->held += l->held < l->length;
        l->done++;
        if (l->done % (int64_t)l->block == 0) end_block(l);
    }
    return LAY_OK;
}

static bool listener_make(listener *l, size_t channels, double rate) {
    *l = (listener){.channels = channels, .block = (size_t)fmax(1, SECONDS / BLOCKS * rate), .best = -1};
    l->length = l->block * BLOCKS;
    l->part = lay_calloc(4 * l->length, sizeof *l->part);
    if (l->part == NULL) return false;
    l->rest = l->part + l->length;
    l->best_part = l->rest + l->length;
    l->best_rest = l->best_part + l->length;
    return true;
}

/* ---- files ---- */

typedef struct clip_sound {
    const listener *heard;
    size_t count;
    double rate;
    double *samples; /* [count] room for what is written */
    double gain, part_gain;
} clip_sound;

static double sample(const clip_sound *s, int which, size_t i) {
    const listener *l = s->heard;
    if (which == 0) return s->gain * (l->best_part[i] + l->best_rest[i]);
    return which == 1 ? s->part_gain * l->best_part[i] : s->gain * l->best_rest[i];
}

static double peak_of(const clip_sound *s, int which) {
    double peak = 1e-12;
    for (size_t i = 0; i < s->count; i++) peak = fmax(peak, fabs(sample(s, which, i)));
    return peak;
}

static void find_gains(clip_sound *s) {
    s->gain = s->part_gain = 1;
    double whole = fmax(peak_of(s, 0), peak_of(s, 2)), part = peak_of(s, 1);
    s->gain = LOUDEST / whole;
    s->part_gain = fmin(LOUDEST / part, s->gain * pow(10, LIFT_MOST / 20));
}

static void fill(clip_sound *s, int which) {
    size_t fade = (size_t)(FADE_S * s->rate);
    for (size_t i = 0; i < s->count; i++) {
        size_t edge = i < s->count - 1 - i ? i : s->count - 1 - i;
        s->samples[i] = sample(s, which, i) * (edge < fade ? (double)edge / (double)fade : 1);
    }
}

static lay_status write_slower(lay_writer *w, const clip_sound *s, lay_error *err) {
    lay_sinc *sinc = NULL;
    double step = s->rate / RATE_THEN, cutoff = 0.92 / step, block[512];
    lay_status status = lay_sinc_new(16, 9.0, &sinc, err);
    size_t total = (size_t)((double)s->count / step), used = 0;
    for (size_t i = 0; i < total && status == LAY_OK; i++) {
        block[used++] = lay_sinc_at(sinc, s->samples, s->count, 1, (double)i * step, cutoff);
        if (used < 512 && i + 1 < total) continue;
        status = lay_writer_write(w, block, used, err);
        used = 0;
    }
    lay_sinc_free(sinc);
    return status;
}

static lay_status write_one(const clip_sound *s, const char *path, lay_error *err) {
    lay_writer *w = NULL;
    bool slower = s->rate > RATE_MOST;
    lay_status status = lay_writer_open(path, LAY_FILE_FLAC16, slower ? RATE_THEN : s->rate, 1, &w, err);
    if (status != LAY_OK) return status;
    status = slower ? write_slower(w, s, err) : lay_writer_write(w, s->samples, s->count, err);
    if (status == LAY_OK) return lay_writer_close(w, err);
    lay_writer_discard(w);
    return status;
}

/* A recording of the job, which somebody may have put where our files go. */
static bool is_recording(const lay_run_table *table, const char *path) {
    struct stat there, run;
    if (stat(path, &there) != 0) return false;
    for (size_t i = 0; i < table->count; i++)
        if (table->runs[i].path != NULL && stat(table->runs[i].path, &run) == 0 && run.st_dev == there.st_dev &&
            run.st_ino == there.st_ino)
            return true;
    return false;
}

static bool clear_way(const lay_report_view *view, const char *path) {
    if (is_recording(view->table, path)) return false;
    unlink(path);
    return true;
}

void lay_clips_remove(const lay_report_view *view, size_t suspect, const char *folder) {
    char name[48];
    for (int i = 0; i < LAY_CLIPS; i++) {
        name_clip(name, sizeof name, suspect, i);
        char *path = lay_path_join(folder, name);
        if (path != NULL) clear_way(view, path);
        free(path);
    }
}

static lay_status write_all(const lay_report_view *view, clip_sound *s, size_t suspect, const char *folder,
                            lay_strings *written, lay_clips *out, lay_error *err) {
    lay_status status = LAY_OK;
    for (int i = 0; i < LAY_CLIPS && status == LAY_OK; i++) {
        name_clip(out->file[i], sizeof out->file[i], suspect, i);
        char *path = lay_path_join(folder, out->file[i]);
        fill(s, i);
        if (path == NULL)
            status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
        else if (!clear_way(view, path))
            status = lay_fail_file(err, LAY_BAD_INPUT, path, "this is a recording of the job; it is left as it is");
        else
            status = write_one(s, path, err);
        if (status == LAY_OK) status = lay_strings_add(written, err, "%s", out->file[i]);
        free(path);
    }
    return status;
}

static lay_status listen(const lay_report_view *view, const lay_suspect *suspect, const lay_alone_options *options,
                         listener *l, double *rate, lay_error *err) {
    const lay_run_spec *spec = &view->table->runs[suspect->best_run];
    const lay_run_evidence *run = &view->d->runs[suspect->best_run];
    lay_run_stream *stream = NULL;
    lay_status status = lay_run_stream_open(view->unit, spec, view->table->path, &stream, err);
    if (status != LAY_OK) return status;
    *rate = lay_run_stream_rate(stream);
    bool room = listener_make(l, (size_t)lay_run_stream_channels(stream), *rate);
    lay_run_stream_close(stream);
    if (!room) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the sound of a part");
    status = lay_run_alone(view->unit, spec, view->table->path, run, options, take, l, err);
    if (status == LAY_OK && l->best < 0) keep(l); /* shorter than a clip: all of it */
    return status;
}

lay_status lay_clips_write(const lay_report_view *view, size_t suspect, const char *folder, lay_strings *written,
                           lay_clips *out, lay_error *err) {
    const lay_suspect *s = &view->d->verdict.suspects[suspect];
    lay_alone_choice choice;
    listener l = {0};
    clip_sound sound = {.heard = &l};
    lay_error ignored;
    *out = (lay_clips){0};
    if (lay_alone_choose(view->unit, &view->d->runs[s->best_run], s->part, &choice, &ignored) != LAY_OK) return LAY_OK;
    lay_status status = listen(view, s, &choice.options, &l, &sound.rate, err);
    sound.count = l.held;
    sound.samples = lay_calloc(l.held + 1, sizeof *sound.samples);
    if (status == LAY_OK && sound.samples == NULL) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && sound.count > 0) {
        find_gains(&sound);
        status = write_all(view, &sound, suspect, folder, written, out, err);
        out->made = status == LAY_OK;
        out->from_s = (double)(l.best_end - (int64_t)l.held) / sound.rate;
        out->seconds = (double)l.held / sound.rate;
        out->lift_db = 20 * log10(sound.part_gain / sound.gain);
        out->band = choice.orders.count == 0;
    }
    free(sound.samples);
    free(l.part);
    return status;
}
