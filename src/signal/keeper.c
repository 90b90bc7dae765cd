/* A recording that survives: samples go to the system as they come, and the header follows them. */
#include "keeper.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define HEADER_EVERY 0.25 /* s: so much is lost at most when the program is killed */

struct lay_keeper {
    SNDFILE *file;
    char *path, *part; /* part: what it is called until it has a header */
    int descriptor, channels;
    bool broken, named;
    int64_t added, told; /* frames in the file, and those that its header tells of */
    int64_t stride;      /* from one header to the next */
};

static lay_status no_memory(lay_error *err) {
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to record");
}

static int subtype(int bits) {
    return bits == 16 ? SF_FORMAT_PCM_16 : bits == 24 ? SF_FORMAT_PCM_24 : SF_FORMAT_PCM_32;
}

/* The file gets its name when it has a header, so that it is readable as long as it has one. */
static lay_status make_file(lay_keeper *k, const char *path, lay_error *err) {
    lay_text part = {0};
    lay_text_add(&part, "%s.%ld.part", path, (long)getpid());
    k->path = lay_strdup(path);
    k->part = part.text;
    if (!k->path || part.failed) return no_memory(err);
    k->descriptor = open(k->part, O_RDWR | O_CREAT | O_EXCL, 0666);
    if (k->descriptor >= 0) return LAY_OK;
    return lay_fail_file(err, LAY_IO, path, "the recording cannot be written here: %s", strerror(errno));
}

/* Never over another file, not even in a race. File systems without hard links get the name taken first. */
static lay_status name_file(lay_keeper *k, lay_error *err) {
    bool named = link(k->part, k->path) == 0;
    if (named) unlink(k->part);
    if (!named && errno != EEXIST) {
        int taken = open(k->path, O_RDWR | O_CREAT | O_EXCL, 0666);
        if (taken >= 0) named = rename(k->part, k->path) == 0;
        if (taken >= 0) close(taken);
    }
    int why = errno;
    k->named = named;
    if (named) return LAY_OK;
    if (why == EEXIST)
        return lay_fail_file(err, LAY_BAD_INPUT, k->path, "this file exists already; recordings are never overwritten");
    return lay_fail_file(err, LAY_IO, k->path, "the recording cannot be written here: %s", strerror(why));
}

/* The header now tells of all that was added. */
static void tell(lay_keeper *k) {
    sf_command(k->file, SFC_UPDATE_HEADER_NOW, NULL, 0);
    k->told = k->added;
}

static lay_status start(lay_keeper *k, const lay_keeper_options *o, lay_error *err) {
    SF_INFO info = {.samplerate = (int)o->rate, .channels = o->channels, .format = SF_FORMAT_RF64 | subtype(o->bits)};
    errno = 0;
    k->file = sf_open_fd(k->descriptor, SFM_WRITE, &info, SF_FALSE);
    if (!k->file && errno != 0)
        return lay_fail_file(err, LAY_IO, k->path, "the recording cannot be written here: %s", strerror(errno));
    if (!k->file)
        return lay_fail_file(err, LAY_BAD_INPUT, k->path,
                             "a recording cannot have %d channels at %d samples per second", info.channels,
                             info.samplerate);
    sf_command(k->file, SFC_RF64_AUTO_DOWNGRADE, NULL, SF_TRUE);
    if (o->comment) sf_set_string(k->file, SF_STR_COMMENT, o->comment);
    tell(k);
    return LAY_OK;
}

lay_status lay_keeper_open(const char *path, const lay_keeper_options *o, lay_keeper **out, lay_error *err) {
    *out = NULL;
    if (!(o->rate >= 1 && o->rate <= 1e7) || o->rate != floor(o->rate) || o->channels < 1 ||
        (o->bits != 16 && o->bits != 24 && o->bits != 32))
        return lay_fail_file(err, LAY_BAD_INPUT, path, "no recording of %d channels, %d bits at %g samples per second",
                             o->channels, o->bits, o->rate);
    lay_keeper *k = lay_calloc(1, sizeof *k);
    if (!k) return no_memory(err);
    k->descriptor = -1;
    k->channels = o->channels;
    k->stride = (int64_t)fmax(1, HEADER_EVERY * o->rate);
    lay_status status = make_file(k, path, err);
    if (status == LAY_OK) status = start(k, o, err);
    if (status == LAY_OK) status = name_file(k, err);
    if (status == LAY_OK) {
        *out = k;
        return LAY_OK;
    }
    lay_keeper_close(k, NULL);
    return status;
}

static lay_status broken(lay_keeper *k, lay_error *err) {
    k->broken = true;
    return lay_fail_file(err, LAY_IO, k->path, "the disk takes no more (%s); the recording up to here is kept",
                         errno ? strerror(errno) : sf_strerror(k->file));
}

static size_t least(size_t a, size_t b) {
    return a < b ? a : b;
}

lay_status lay_keeper_add(lay_keeper *k, const int32_t *frames, size_t count, lay_error *err) {
    while (count > 0 && !k->broken) {
        size_t n = least(count, (size_t)(k->stride - (k->added - k->told)));
        errno = 0;
        sf_count_t done = sf_writef_int(k->file, frames, (sf_count_t)n);
        k->added += done > 0 ? done : 0;
        if (done != (sf_count_t)n) {
            tell(k);
            return broken(k, err);
        }
        if (k->added - k->told >= k->stride) tell(k);
        frames += n * (size_t)k->channels;
        count -= n;
    }
    return k->broken ? broken(k, err) : LAY_OK;
}

lay_status lay_keeper_secure(lay_keeper *k, lay_error *err) {
    tell(k);
    errno = 0;
    return fdatasync(k->descriptor) == 0 || errno == EINVAL ? LAY_OK : broken(k, err);
}

int64_t lay_keeper_frames(const lay_keeper *k) {
    return k->told;
}

lay_status lay_keeper_close(lay_keeper *k, lay_error *err) {
    if (!k) return LAY_OK;
    lay_status status = LAY_OK;
    if (k->file) {
        sf_close(k->file); /* a broken file was told of already; this only shortens its header */
        errno = 0;
        if (!k->broken && fdatasync(k->descriptor) != 0 && errno != EINVAL) status = broken(k, err);
    }
    if (k->descriptor >= 0) close(k->descriptor);
    if (k->part && !k->named && k->descriptor >= 0) unlink(k->part); /* ours, and nothing is in it */
    free(k->path);
    free(k->part);
    free(k);
    return status;
}
