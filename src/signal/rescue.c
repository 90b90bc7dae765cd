/* Recordings that were cut short by a crash: the header made to tell of every sample that is in the file.
 *
 * [WAVE] Multimedia Programming Interface and Data Specifications 1.0, 1991: chunks of name, 32-bit size and content,
 * padded to even length, inside one chunk "RIFF".
 * [RF64] EBU Tech 3306, MBWF/RF64: the form is named "RF64", and a chunk "ds64" right after "WAVE" holds riffSize,
 * dataSize and sampleCount in 64 bits; the 32-bit sizes are 0xFFFFFFFF.
 * (both layouts from memory; the tests read what was rescued with libsndfile) */
#include <layshaft/signal.h>

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FORM 12 /* bytes of name, size and "WAVE" */

typedef struct wave_layout {
    int64_t length;     /* of the file */
    int64_t sizes;      /* where the numbers of ds64 are, 0: none */
    int64_t fact;       /* where the number of frames is, 0: none */
    int64_t data;       /* where the samples begin */
    int64_t told, form; /* bytes of samples, and end of the file, that the header tells of */
    int64_t frame;      /* bytes of a frame */
} wave_layout;

static uint64_t little(const unsigned char *from, int bytes) {
    uint64_t value = 0;
    for (int i = bytes; i-- > 0;) value = value << 8 | from[i];
    return value;
}

static bool put(int file, int64_t at, int64_t value, int bytes) {
    unsigned char to[8];
    for (int i = 0; i < bytes; i++) to[i] = (unsigned char)((uint64_t)value >> 8 * i);
    return pwrite(file, to, (size_t)bytes, at) == bytes;
}

/* One chunk at `at`; false when it ends the walk: unreadable, or the samples. */
static bool walk_chunk(int file, int64_t *at, wave_layout *w) {
    unsigned char head[8 + 24];
    ssize_t got = pread(file, head, sizeof head, *at);
    if (got < 8) return false;
    int64_t size = (int64_t)little(head + 4, 4);
    if (memcmp(head, "data", 4) == 0) {
        w->data = *at + 8;
        if (w->sizes == 0) w->told = size;
        return false;
    }
    if (memcmp(head, "ds64", 4) == 0 && got == sizeof head && size >= 24) {
        w->sizes = *at + 8;
        w->form = (int64_t)little(head + 8, 8) + 8;
        w->told = (int64_t)little(head + 16, 8);
    }
    if (memcmp(head, "fmt ", 4) == 0 && got >= 22) w->frame = (int64_t)little(head + 20, 2);
    if (memcmp(head, "fact", 4) == 0 && size >= 4) w->fact = *at + 8;
    *at += 8 + size + (size & 1);
    return *at < w->length;
}

/* Whether it can be rescued: the samples come last, by what the header tells, and there are more of them. */
static bool lay_out(int file, wave_layout *w) {
    unsigned char form[FORM];
    struct stat info;
    *w = (wave_layout){0};
    if (fstat(file, &info) != 0 || pread(file, form, FORM, 0) != FORM) return false;
    bool large = memcmp(form, "RF64", 4) == 0;
    if ((!large && memcmp(form, "RIFF", 4) != 0) || memcmp(form + 8, "WAVE", 4) != 0) return false;
    w->length = info.st_size;
    w->form = (int64_t)little(form + 4, 4) + 8;
    for (int64_t at = FORM; walk_chunk(file, &at, w);) {
    }
    int64_t beyond = w->form - (w->data + w->told);
    return large == (w->sizes > 0) && w->data > 0 && w->frame > 0 && w->told >= 0 && (beyond == 0 || beyond == 1) &&
           w->length - w->data - w->told >= w->frame;
}

/* The size of the samples last: until it is there, a reader gets what it got before. */
static bool tell(int file, const wave_layout *w, int64_t bytes) {
    int64_t form = w->data + bytes - 8;
    if (w->sizes > 0)
        return put(file, w->sizes, form, 8) && put(file, w->sizes + 16, bytes / w->frame, 8) &&
               put(file, w->sizes + 8, bytes, 8) && fsync(file) == 0;
    if (form > UINT32_MAX) return true; /* no room for the number: it stays as it is */
    return put(file, 4, form, 4) && (w->fact == 0 || put(file, w->fact, bytes / w->frame, 4)) &&
           put(file, w->data - 4, bytes, 4) && fsync(file) == 0;
}

lay_status lay_recording_rescue(const char *path, int64_t *frames, lay_error *err) {
    *frames = 0;
    int file = open(path, O_RDWR);
    if (file < 0) return lay_fail_open(err, path);
    wave_layout w;
    lay_status status = LAY_OK;
    if (lay_out(file, &w)) {
        int64_t whole = (w.length - w.data) / w.frame;
        if (tell(file, &w, whole * w.frame))
            *frames = whole - w.told / w.frame;
        else
            status = lay_fail_file(err, LAY_IO, path, "the header could not be written: %s", strerror(errno));
    }
    close(file);
    return status;
}
