/* Writing recordings: never over an existing file, never half a file under the final name. */
#include <layshaft/signal.h>

#include <errno.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { WRITE_BLOCK = 4096 };                     /* samples converted at a time */
static const uint64_t largest_wav = 0xffff0000u; /* bytes of samples under a 32-bit count, with room for the header */

struct lay_writer {
    SNDFILE *file;
    char *path, *temporary;
    int channels, bits; /* bits 0: floating point */
    bool broken;
    uint64_t bytes; /* of floating point samples so far */
    int block[WRITE_BLOCK];
};

/* RF64 becomes plain WAV at close when the file stays below 4 GiB. Floating point starts as plain WAV: libsndfile
 * cannot keep the date (PEAK chunk) out of RF64, and equal samples shall give equal files. */
static const struct {
    int format, bits;
} formats[] = {
    [LAY_FILE_WAV16] = {SF_FORMAT_RF64 | SF_FORMAT_PCM_16, 16},
    [LAY_FILE_WAV24] = {SF_FORMAT_RF64 | SF_FORMAT_PCM_24, 24},
    [LAY_FILE_WAV_FLOAT] = {SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0},
    [LAY_FILE_FLAC16] = {SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 16},
    [LAY_FILE_FLAC24] = {SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 24},
};

static void writer_free(lay_writer *w) {
    if (w->file != NULL) sf_close(w->file);
    if (w->temporary != NULL) unlink(w->temporary);
    free(w->temporary);
    free(w->path);
    free(w);
}

/* Makes the temporary file, empty, so that its name is ours. */
static lay_status make_temporary(lay_writer *w, lay_error *err) {
    size_t size = strlen(w->path) + sizeof ".XXXXXX";
    char *name = lay_calloc(size, 1);
    if (name == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to write the recording");
    snprintf(name, size, "%s.XXXXXX", w->path);
    int descriptor = mkstemp(name);
    if (descriptor < 0) {
        free(name);
        return lay_fail_file(err, LAY_IO, w->path, "the recording cannot be written here: %s", strerror(errno));
    }
    w->temporary = name;
    mode_t mask = umask(0);
    umask(mask);
    (void)fchmod(descriptor, 0666 & ~mask); /* mkstemp keeps others out; a recording follows the user's mask */
    close(descriptor);
    return LAY_OK;
}

static lay_status writer_start(lay_writer *w, const char *path, SF_INFO *info, lay_error *err) {
    w->path = lay_strdup(path);
    if (w->path == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to write the recording");
    lay_status status = make_temporary(w, err);
    if (status != LAY_OK) return status;
    w->file = sf_open(w->temporary, SFM_WRITE, info);
    if (w->file == NULL)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this format cannot hold %d channels at %d samples per second",
                             info->channels, info->samplerate);
    sf_command(w->file, SFC_RF64_AUTO_DOWNGRADE, NULL, SF_TRUE);
    sf_command(w->file, SFC_SET_ADD_PEAK_CHUNK, NULL, SF_FALSE); /* it holds the time of day: files must repeat */
    return LAY_OK;
}

lay_status lay_writer_open(const char *path, lay_file_format format, double rate, int channels, lay_writer **out,
                           lay_error *err) {
    struct stat existing;
    *out = NULL;
    if ((size_t)format >= sizeof formats / sizeof formats[0])
        return lay_fail(err, LAY_BAD_INPUT, "unknown file format %d", (int)format);
    if (lstat(path, &existing) == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this file exists already; remove it or choose another name");
    if (!(rate >= 1 && rate <= 1e9) || rate != floor(rate) || channels < 1)
        return lay_fail_file(err, LAY_BAD_INPUT, path,
                             "a sound file needs a whole number of samples per second and a channel, not %g and %d",
                             rate, channels);
    SF_INFO info = {.samplerate = (int)rate, .channels = channels, .format = formats[format].format};
    lay_writer *w = lay_calloc(1, sizeof *w);
    if (w == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to write the recording");
    w->channels = channels;
    w->bits = formats[format].bits;
    lay_status status = writer_start(w, path, &info, err);
    if (status == LAY_OK)
        *out = w;
    else
        writer_free(w);
    return status;
}

/* Rounds to the nearest step and stops at the wall; NaN becomes 0. libsndfile takes the upper bits of an int. */
static int to_integer(double x, int bits) {
    double scale = ldexp(1, bits - 1);
    double value = x * scale;
    if (!(value == value)) return 0;
    if (value > scale - 1) value = scale - 1;
    if (value < -scale) value = -scale;
    return (int)(lrint(value) * (1L << (32 - bits)));
}

static bool write_integers(lay_writer *w, const double *x, size_t samples) {
    while (samples > 0) {
        size_t n = samples < WRITE_BLOCK ? samples : WRITE_BLOCK;
        n -= n % (size_t)w->channels;
        if (n == 0) return false;
        for (size_t i = 0; i < n; i++) w->block[i] = to_integer(x[i], w->bits);
        if (sf_write_int(w->file, w->block, (sf_count_t)n) != (sf_count_t)n) return false;
        x += n;
        samples -= n;
    }
    return true;
}

static bool write_floats(lay_writer *w, const double *frames, size_t count) {
    w->bytes += (uint64_t)count * (uint64_t)w->channels * sizeof(float);
    return w->bytes <= largest_wav && sf_writef_double(w->file, frames, (sf_count_t)count) == (sf_count_t)count;
}

lay_status lay_writer_write(lay_writer *w, const double *frames, size_t count, lay_error *err) {
    bool written =
        w->bits > 0 ? write_integers(w, frames, count * (size_t)w->channels) : write_floats(w, frames, count);
    if (written) return LAY_OK;
    w->broken = true;
    if (w->bytes > largest_wav)
        return lay_fail_file(err, LAY_BAD_INPUT, w->path,
                             "a floating-point WAV file ends at 4 GiB; write a shorter recording, or 24 bits");
    return lay_fail_file(err, LAY_IO, w->path, "the recording cannot be written on: %s; nothing was kept",
                         sf_strerror(w->file));
}

/* A hard link fails when the name was taken meanwhile; file systems without links get a rename. */
static lay_status publish(lay_writer *w, lay_error *err) {
    if (link(w->temporary, w->path) == 0) return LAY_OK;
    if (errno == EEXIST)
        return lay_fail_file(err, LAY_BAD_INPUT, w->path,
                             "another program made this file meanwhile; choose another name");
    if (rename(w->temporary, w->path) != 0)
        return lay_fail_file(err, LAY_IO, w->path, "the recording cannot be put in place: %s", strerror(errno));
    free(w->temporary);
    w->temporary = NULL;
    return LAY_OK;
}

void lay_writer_discard(lay_writer *w) {
    if (w != NULL) writer_free(w);
}

lay_status lay_writer_close(lay_writer *w, lay_error *err) {
    if (w == NULL) return LAY_OK;
    lay_status status = LAY_OK;
    int failed = sf_close(w->file);
    w->file = NULL;
    if (w->broken)
        status = lay_fail_file(err, LAY_IO, w->path, "writing failed before; the recording was not kept");
    else if (failed != 0)
        status = lay_fail_file(err, LAY_IO, w->path, "the recording cannot be finished: the disk may be full");
    else
        status = publish(w, err);
    writer_free(w);
    return status;
}
