/* Opening and reading recordings; sound files through libsndfile. */
#include "recording.h"

#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

struct lay_recording {
    lay_source source;
};

typedef struct sound_state {
    SNDFILE *file;
    char *path, *comment;
    int64_t position;
} sound_state;

/* ---- what the sample format means ---- */

static bool is_integer(int format) {
    switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
    case SF_FORMAT_PCM_16:
    case SF_FORMAT_PCM_24:
    case SF_FORMAT_PCM_32:
    case SF_FORMAT_DPCM_8:
    case SF_FORMAT_DPCM_16:
    case SF_FORMAT_DWVW_12:
    case SF_FORMAT_DWVW_16:
    case SF_FORMAT_DWVW_24:
    case SF_FORMAT_DWVW_N:
    case SF_FORMAT_ALAC_16:
    case SF_FORMAT_ALAC_20:
    case SF_FORMAT_ALAC_24:
    case SF_FORMAT_ALAC_32:
        return true;
    default:
        return false;
    }
}

/* Everything that is neither plain integer nor plain floating point throws information away. */
static bool is_lossy(int format) {
    int sub = format & SF_FORMAT_SUBMASK;
    return !is_integer(format) && sub != SF_FORMAT_FLOAT && sub != SF_FORMAT_DOUBLE;
}

/* ---- recordings cut short ---- */

/* "data : 4000 (should be 1000)" in libsndfile's log: the header promises more than the file holds. Promises near
 * 2 or 4 GiB are the placeholders of programs that could not seek back, not losses. */
static bool line_tells_truncation(const char *line) {
    static const char *const chunks[] = {"data", "Data", "SSND"};
    while (*line == ' ') line++;
    for (size_t i = 0; i < sizeof chunks / sizeof chunks[0]; i++) {
        long long promised = 0, present = 0;
        if (strncmp(line, chunks[i], 4) == 0 && sscanf(line + 4, " : %lld (should be %lld)", &promised, &present) == 2)
            return promised > present && promised < 0x7fff0000LL;
    }
    return false;
}

static bool log_tells_truncation(SNDFILE *file) {
    char log[16384];
    int length = sf_command(file, SFC_GET_LOG_INFO, log, (int)sizeof log);
    if (length <= 0) return false;
    log[(size_t)length < sizeof log ? (size_t)length : sizeof log - 1] = 0;
    for (const char *line = log; line != NULL; line = strchr(line, '\n')) {
        if (*line == '\n') line++;
        if (line_tells_truncation(line)) return true;
    }
    return false;
}

/* Reads to the end to learn the true number of frames, then returns to the first. */
static lay_status count_frames(sound_state *state, int channels, int64_t *frames, lay_error *err) {
    enum { BLOCK = 1024 };
    double *block = lay_calloc((size_t)BLOCK * (size_t)channels, sizeof *block);
    if (block == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
    sf_count_t got;
    *frames = 0;
    while ((got = sf_readf_double(state->file, block, BLOCK)) > 0) *frames += got;
    free(block);
    if (sf_seek(state->file, 0, SEEK_SET) != 0)
        return lay_fail_file(err, LAY_BAD_INPUT, state->path,
                             "the length of this file is not stated and it cannot be rewound; save it as WAV");
    return LAY_OK;
}

/* ---- sound files as a source ---- */

static void sound_close(lay_source *source) {
    sound_state *state = source->state;
    if (state == NULL) return;
    if (state->file != NULL) sf_close(state->file);
    free(state->path);
    free(state->comment);
    free(state);
    source->state = NULL;
}

static lay_status sound_read(lay_source *source, double *out, size_t frames, size_t *got, lay_error *err) {
    (void)err;
    sound_state *state = source->state;
    sf_count_t read = sf_readf_double(state->file, out, (sf_count_t)frames);
    if (read < 0) read = 0;
    state->position += read;
    *got = (size_t)read;
    if (*got < frames && state->position < source->info.frames) { /* compressed data can end before its promise */
        source->info.frames = state->position;
        source->info.truncated = true;
    }
    return LAY_OK;
}

static lay_status sound_rewind(lay_source *source, lay_error *err) {
    sound_state *state = source->state;
    if (sf_seek(state->file, 0, SEEK_SET) != 0) {
        SF_INFO info = {0};
        sf_close(state->file);
        state->file = sf_open(state->path, SFM_READ, &info);
        if (state->file == NULL || info.channels != source->info.channels)
            return lay_fail_file(err, LAY_IO, state->path, "the recording cannot be read a second time");
    }
    state->position = 0;
    return LAY_OK;
}

static lay_status reject_format(const char *path, const SF_INFO *info, lay_error *err) {
    if ((info->format & SF_FORMAT_TYPEMASK) == SF_FORMAT_RAW)
        return lay_fail_file(err, LAY_BAD_INPUT, path,
                             "this file has no header that tells its rate and sample format; save it as WAV or FLAC");
    if (info->channels < 1 || info->channels > LAY_MAX_CHANNELS)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "a recording of %d channels cannot be right; save it again",
                             info->channels);
    if (info->samplerate < 1)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "a rate of %d samples per second cannot be right; save it again",
                             info->samplerate);
    return LAY_OK;
}

/* A header may promise any number of frames; beyond 64 per byte of file it is counted rather than believed. */
static lay_status settle_length(lay_source *source, int64_t bytes, lay_error *err) {
    lay_recording_info *info = &source->info;
    sound_state *state = source->state;
    if (info->frames <= 0 || info->frames / 64 > bytes) {
        lay_status status = count_frames(state, info->channels, &info->frames, err);
        if (status != LAY_OK) return status;
    }
    if (info->frames == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, state->path,
                             "the recording holds no samples; record or export it again");
    info->truncated = log_tells_truncation(state->file);
    return LAY_OK;
}

static lay_status sound_fill(lay_source *source, const char *path, int64_t bytes, lay_error *err) {
    sound_state *state = source->state;
    state->path = lay_strdup(path);
    if (state->path == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to open the recording");
    SF_INFO info = {0};
    state->file = sf_open(path, SFM_READ, &info);
    if (state->file == NULL)
        return lay_fail_file(err, LAY_BAD_INPUT, path,
                             "this is not a sound file that can be read, or it is damaged; save it as WAV or FLAC, or "
                             "export the samples as .csv");
    lay_status status = reject_format(path, &info, err);
    if (status != LAY_OK) return status;
    source->info = (lay_recording_info){.rate = info.samplerate,
                                        .channels = info.channels,
                                        .frames = info.frames,
                                        .lossy = is_lossy(info.format),
                                        .integer = is_integer(info.format)};
    const char *comment = sf_get_string(state->file, SF_STR_COMMENT);
    state->comment = lay_strdup(comment ? comment : "");
    if (state->comment == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to open the recording");
    source->comment = state->comment;
    return settle_length(source, bytes, err);
}

static lay_status sound_open(const char *path, int64_t bytes, lay_source *source, lay_error *err) {
    source->close = sound_close;
    source->read = sound_read;
    source->rewind = sound_rewind;
    source->state = lay_calloc(1, sizeof(sound_state));
    if (source->state == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to open the recording");
    lay_status status = sound_fill(source, path, bytes, err);
    if (status != LAY_OK) sound_close(source);
    return status;
}

/* ---- any recording ---- */

static bool is_text_name(const char *path) {
    static const char *const endings[] = {".csv", ".txt", ".tsv"};
    const char *dot = strrchr(path, '.');
    for (size_t i = 0; dot != NULL && i < sizeof endings / sizeof endings[0]; i++)
        if (strcasecmp(dot, endings[i]) == 0) return true;
    return false;
}

static lay_status inspect_file(const char *path, int64_t *bytes, lay_error *err) {
    struct stat info;
    FILE *file = NULL;
    if (stat(path, &info) != 0 || (S_ISREG(info.st_mode) && (file = fopen(path, "rb")) == NULL))
        return lay_fail_open(err, path);
    if (file != NULL) fclose(file);
    if (S_ISDIR(info.st_mode))
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this is a folder, not a recording; name a file in it");
    if (!S_ISREG(info.st_mode))
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this is not an ordinary file; record into a file first");
    if (info.st_size == 0) return lay_fail_file(err, LAY_BAD_INPUT, path, "the file is empty; record or copy it again");
    *bytes = (int64_t)info.st_size;
    return LAY_OK;
}

lay_status lay_recording_open(const char *path, double csv_rate, lay_recording **out, lay_error *err) {
    int64_t bytes = 0;
    *out = NULL;
    lay_status status = inspect_file(path, &bytes, err);
    if (status != LAY_OK) return status;
    lay_recording *rec = lay_calloc(1, sizeof *rec);
    if (rec == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to open the recording");
    status = is_text_name(path) ? lay_csv_source_open(path, csv_rate, &rec->source, err)
                                : sound_open(path, bytes, &rec->source, err);
    if (status != LAY_OK) {
        free(rec);
        return status;
    }
    *out = rec;
    return LAY_OK;
}

void lay_recording_close(lay_recording *rec) {
    if (rec == NULL) return;
    rec->source.close(&rec->source);
    free(rec);
}

const lay_recording_info *lay_recording_get_info(const lay_recording *rec) {
    return &rec->source.info;
}

const char *lay_recording_comment(const lay_recording *rec) {
    return rec->source.comment ? rec->source.comment : "";
}

lay_status lay_recording_read(lay_recording *rec, double *out, size_t frames, size_t *got, lay_error *err) {
    *got = 0;
    size_t most = (size_t)INT64_MAX / (sizeof(double) * LAY_MAX_CHANNELS);
    if (frames == 0) return LAY_OK;
    return rec->source.read(&rec->source, out, frames < most ? frames : most, got, err);
}

lay_status lay_recording_rewind(lay_recording *rec, lay_error *err) {
    return rec->source.rewind(&rec->source, err);
}
