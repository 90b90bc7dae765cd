/* The file that `layshaft listen` writes. */
#include "listen.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "terminal.h"

/* ---- where it goes ---- */

static void add_plain(const char *name, size_t length, lay_text *out) {
    for (size_t i = 0; i < length; i++) {
        char c = name[i];
        bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
        lay_text_add(out, "%c", plain ? c : '-');
    }
}

/* listen-02-third-pair.wav in a job, listen-RECORDING-third-pair.wav beside it. */
static void add_file_name(const lay_listen_options *o, const lay_listening *w, lay_text *out) {
    const char *file = w->job.table.runs[w->row].file, *slash = strrchr(file, '/'), *from = slash ? slash + 1 : file;
    const char *dot = strrchr(from, '.');
    lay_text_add(out, "listen-");
    if (o->unit)
        add_plain(from, dot && dot > from ? (size_t)(dot - from) : strlen(from), out);
    else
        lay_text_add(out, "%02zu", w->row + 1);
    lay_text_add(out, "-%s", o->without ? "without-" : "");
    if (w->choice.name)
        add_plain(w->choice.name, strlen(w->choice.name), out);
    else
        lay_text_add(out, "order-%g", w->choice.values[0]);
    lay_text_add(out, ".wav");
}

static lay_status make_path(const lay_listen_options *o, const char *folder, lay_listening *w, lay_error *err) {
    lay_text name = {0};
    lay_status status = LAY_OK;
    char *report = o->output || o->unit ? NULL : lay_path_join(folder, "report");
    if (report) status = lay_make_folder(report, err);
    add_file_name(o, w, &name);
    if (o->output)
        w->path = lay_strdup(o->output);
    else if (!name.failed)
        w->path = o->unit ? lay_strdup(name.text) : report ? lay_path_join(report, name.text) : NULL;
    free(report);
    lay_text_free(&name);
    if (!w->path && status == LAY_OK) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    return status;
}

/* A recording of the job is never replaced, not even one that was put where our files go. */
static lay_status spare_recordings(const lay_listening *w, lay_error *err) {
    struct stat there, run;
    if (stat(w->path, &there) != 0) return LAY_OK;
    for (size_t i = 0; i < w->job.table.count; i++)
        if (stat(w->job.table.runs[i].path, &run) == 0 && run.st_dev == there.st_dev && run.st_ino == there.st_ino)
            return lay_fail_file(err, LAY_BAD_INPUT, w->path,
                                 "this is run %zu of the job; choose another name with --output", i + 1);
    return LAY_OK;
}

/* ---- what is in it ---- */

typedef struct output {
    lay_writer *writer; /* NULL: only the level is taken */
    bool without, progress;
    double gain, peak, part, whole; /* power sums */
    size_t channels, done, frames;
    double *scaled;
    size_t room;
} output;

static lay_status write_block(const double *part, const double *rest, size_t frames, void *user, lay_error *err) {
    output *out = user;
    size_t n = frames * out->channels;
    const double *from = out->without ? rest : part;
    if (n > out->room) {
        double *more = realloc(out->scaled, n * sizeof *more);
        if (!more) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
        out->scaled = more;
        out->room = n;
    }
    for (size_t i = 0; i < n; i++) {
        out->scaled[i] = out->gain * from[i];
        out->peak = fmax(out->peak, fabs(out->scaled[i]));
        out->part += part[i] * part[i];
        out->whole += (part[i] + rest[i]) * (part[i] + rest[i]);
    }
    out->done += frames;
    if (out->progress) lay_terminal_percent("taking the sound apart", (double)out->done / (double)out->frames);
    return out->writer ? lay_writer_write(out->writer, out->scaled, frames, err) : LAY_OK;
}

static lay_status pass(lay_listening *w, output *out, lay_error *err) {
    out->peak = out->part = out->whole = 0;
    out->done = 0;
    lay_status status = lay_run_alone(w->job.unit, &w->job.table.runs[w->row], w->job.table.path, &w->run,
                                      &w->choice.options, write_block, out, err);
    if (out->progress) lay_terminal_percent(NULL, 1);
    return status;
}

/* Lifting asks for the peak first, so that nothing is overdriven. */
static lay_status find_gain(const lay_listen_options *o, lay_listening *w, output *out, lay_error *err) {
    lay_writer *writer = out->writer;
    out->gain = pow(10, o->lift / 20);
    if (!(o->lift > 0)) return LAY_OK;
    out->writer = NULL;
    lay_status status = pass(w, out, err);
    out->writer = writer;
    if (out->peak > LAY_LISTEN_LOUDEST) out->gain *= LAY_LISTEN_LOUDEST / out->peak;
    return status;
}

static lay_status stream_shape(lay_listening *w, double *rate, size_t *channels, lay_error *err) {
    lay_run_stream *stream = NULL;
    lay_status status = lay_run_stream_open(w->job.unit, &w->job.table.runs[w->row], w->job.table.path, &stream, err);
    if (status == LAY_OK) *rate = lay_run_stream_rate(stream);
    if (status == LAY_OK) *channels = (size_t)lay_run_stream_channels(stream);
    lay_run_stream_close(stream);
    return status;
}

static lay_status write_to(const lay_listen_options *o, const char *path, lay_listening *w, lay_error *err) {
    output out = {.without = o->without != NULL, .progress = !o->common.quiet};
    double rate = 0;
    lay_status status = stream_shape(w, &rate, &out.channels, err);
    out.frames = (size_t)fmax(1, rate * w->run.duration_s);
    if (status == LAY_OK) status = lay_writer_open(path, LAY_FILE_WAV_FLOAT, rate, (int)out.channels, &out.writer, err);
    if (status == LAY_OK) status = find_gain(o, w, &out, err);
    if (status == LAY_OK) status = pass(w, &out, err);
    if (status == LAY_OK)
        status = lay_writer_close(out.writer, err);
    else
        lay_writer_discard(out.writer);
    free(out.scaled);
    w->result.peak = out.peak;
    w->result.asked_db = o->lift;
    w->result.lift_db = 20 * log10(out.gain);
    w->result.share_db = out.part > 0 && out.whole > 0 ? 10 * log10(out.part / out.whole) : NAN;
    return status;
}

/* The new file is made beside the old one and then takes its place. */
static lay_status replace(const lay_listen_options *o, lay_listening *w, lay_error *err) {
    lay_text beside = {0};
    lay_text_add(&beside, "%s.%ld", w->path, (long)getpid());
    if (beside.failed) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = write_to(o, beside.text, w, err);
    if (status == LAY_OK && rename(beside.text, w->path) != 0) {
        status = lay_fail_file(err, LAY_IO, w->path, "the file cannot be put in place: %s", strerror(errno));
        unlink(beside.text);
    }
    if (status != LAY_OK && strcmp(err->file, beside.text) == 0)
        snprintf(err->file, sizeof err->file, "%.*s", (int)sizeof err->file - 1, w->path);
    lay_text_free(&beside);
    return status;
}

lay_status lay_listen_write(const lay_listen_options *o, const char *folder, lay_listening *w, lay_error *err) {
    bool ours = !o->output && !o->unit;
    lay_status status = make_path(o, folder, w, err);
    if (status != LAY_OK) return status;
    if (!ours) return write_to(o, w->path, w, err);
    status = spare_recordings(w, err);
    return status == LAY_OK ? replace(o, w, err) : status;
}
