/* Recordings from a sound device. Three hands: PortAudio's thread fills a ring and never waits, our thread empties it
 * into the file, the caller looks on. */
#include "keeper.h"

#ifdef LAY_HAVE_PORTAUDIO

#include "device.h"
#include "ring.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#define HELD 10.0       /* s that the disk may take to answer */
#define REST_NS 5000000 /* between two looks into the ring */
#define SECURE 1.0      /* s from one wait for the disk to the next */
#define PATIENCE 2.0    /* s without samples: the device is gone */
#define PARTING 3.0     /* s for the sound system to let go of a device */

/* A ring and the silence that is still to go into it for what found no room. */
typedef struct lay_outlet {
    lay_ring ring; /* room 0: not wanted */
    uint64_t owed; /* frames, known to PortAudio's thread alone */
} lay_outlet;

struct lay_capture {
    PaStream *stream;
    lay_outlet disk, ear; /* to the file, to lay_capture_hear */
    lay_keeper *keeper;   /* NULL: nothing is kept */
    pthread_t thread;
    bool running, writing;  /* PortAudio; our thread */
    lay_capture_state plan; /* what does not change */
    double rate;
    int channels;
    int64_t wanted; /* frames, 0: no end */
    _Atomic int64_t frames, kept, lost, first_loss;
    _Atomic int overruns;
    _Atomic bool inside, deaf; /* PortAudio's thread is at work; nothing more is to go into the ring */
    _Atomic bool finish, broken, closed;
    _Atomic uint32_t *peaks;
    lay_status status; /* our thread's, to be read after it has ended */
    lay_error error;
    int64_t seen; /* by the caller, and when it was new */
    double seen_at;
};

static double seconds(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---- PortAudio's thread ---- */

static void note_loss(lay_capture *c, int64_t at) {
    int64_t never = -1;
    atomic_compare_exchange_strong(&c->first_loss, &never, at);
}

static void note_peaks(lay_capture *c, const int32_t *in, size_t count) {
    for (size_t channel = 0; channel < (size_t)c->channels; channel++) {
        uint32_t most = atomic_load_explicit(&c->peaks[channel], memory_order_relaxed), before = most;
        for (size_t i = channel; i < count * (size_t)c->channels; i += (size_t)c->channels) {
            uint32_t size = in[i] < 0 ? 0u - (uint32_t)in[i] : (uint32_t)in[i];
            if (size > most) most = size;
        }
        /* Where the caller has taken the peak meanwhile, the older part of this block may count twice: no harm. */
        if (most > before) atomic_store_explicit(&c->peaks[channel], most, memory_order_relaxed);
    }
}

/* How many of the frames found room; none does before what is owed. */
static size_t put(lay_outlet *outlet, const int32_t *in, size_t count) {
    if (outlet->ring.room == 0) return count;
    if (outlet->owed > 0) outlet->owed -= lay_ring_put(&outlet->ring, NULL, outlet->owed);
    size_t room = outlet->owed > 0 ? 0 : lay_ring_put(&outlet->ring, in, count);
    outlet->owed += count - room;
    return room;
}

static void take(lay_capture *c, const int32_t *in, size_t count, PaStreamCallbackFlags flags) {
    int64_t at = atomic_load_explicit(&c->frames, memory_order_relaxed);
    if (c->wanted > 0 && (int64_t)count > c->wanted - at) count = (size_t)(c->wanted - at);
    if (count == 0) return;
    if (flags & paInputOverflow) {
        atomic_fetch_add(&c->overruns, 1);
        note_loss(c, at);
    }
    size_t kept = put(&c->disk, in, count);
    if (kept < count) {
        atomic_fetch_add(&c->lost, (int64_t)(count - kept));
        note_loss(c, at + (int64_t)kept);
    }
    put(&c->ear, in, count);
    if (in) note_peaks(c, in, count);
    atomic_store_explicit(&c->frames, at + (int64_t)count, memory_order_release);
}

static int receive(const void *in, void *out, unsigned long count, const PaStreamCallbackTimeInfo *when,
                   PaStreamCallbackFlags flags, void *user) {
    (void)out, (void)when;
    lay_capture *c = user;
    atomic_store(&c->inside, true);
    if (!atomic_load(&c->deaf)) take(c, in, count, flags);
    atomic_store(&c->inside, false);
    return paContinue;
}

/* ---- our thread ---- */

/* All that is in the ring goes into the file. */
static void drain(lay_capture *c) {
    const int32_t *frames;
    for (size_t n; c->status == LAY_OK && (n = lay_ring_peek(&c->disk.ring, &frames)) > 0;) {
        c->status = lay_keeper_add(c->keeper, frames, n, &c->error);
        lay_ring_take(&c->disk.ring, n);
    }
}

static void *write_on(void *user) {
    lay_capture *c = user;
    double secured = seconds();
    while (c->status == LAY_OK && !atomic_load(&c->finish)) {
        drain(c);
        if (c->status == LAY_OK && seconds() - secured > SECURE) {
            c->status = lay_keeper_secure(c->keeper, &c->error);
            secured = seconds();
        }
        atomic_store(&c->kept, lay_keeper_frames(c->keeper));
        nanosleep(&(struct timespec){0, REST_NS}, NULL);
    }
    drain(c); /* nothing comes any more */
    if (c->status == LAY_OK) c->status = lay_keeper_secure(c->keeper, &c->error);
    atomic_store(&c->kept, lay_keeper_frames(c->keeper));
    if (c->status != LAY_OK) atomic_store(&c->broken, true);
    return NULL;
}

/* ---- the caller ---- */

/* Which device, and how; PortAudio is initialised. */
static lay_status choose(const lay_capture_options *o, PaDeviceIndex *device, lay_capture_state *out, lay_error *err) {
    lay_status status = lay_device_find(o->device, true, device, err);
    if (status != LAY_OK) return status;
    const PaDeviceInfo *info = Pa_GetDeviceInfo(*device);
    int has = info->maxInputChannels;
    *out = (lay_capture_state){.rate = o->rate > 0 ? o->rate : info->defaultSampleRate,
                               .channels = o->channels > 0 ? o->channels
                                           : has < 2       ? has
                                                           : 2,
                               .bits = o->bits > 0 ? o->bits : 24,
                               .first_loss_s = NAN};
    snprintf(out->device, sizeof out->device, "%s", info->name);
    return out->channels <= has ? LAY_OK
                                : lay_fail(err, LAY_BAD_INPUT, "the device '%s' has %d channels, not %d", info->name,
                                           has, out->channels);
}

lay_status lay_sound_begin(lay_error *err) {
    PaError code = Pa_Initialize(); /* PortAudio counts */
    return code == paNoError ? LAY_OK : lay_device_failed(code, err);
}

void lay_sound_end(void) {
    Pa_Terminate();
}

lay_status lay_capture_plan(const lay_capture_options *o, lay_capture_state *out, lay_error *err) {
    PaDeviceIndex device;
    *out = (lay_capture_state){.first_loss_s = NAN};
    PaError code = Pa_Initialize();
    if (code != paNoError) return lay_device_failed(code, err);
    lay_status status = choose(o, &device, out, err);
    Pa_Terminate();
    return status;
}

static lay_status open_device(lay_capture *c, const lay_capture_options *o, lay_error *err) {
    PaStreamParameters from = {.sampleFormat = paInt32};
    lay_status status = choose(o, &from.device, &c->plan, err);
    if (status != LAY_OK) return status;
    const PaDeviceInfo *info = Pa_GetDeviceInfo(from.device);
    c->rate = c->plan.rate;
    c->channels = from.channelCount = c->plan.channels;
    from.suggestedLatency = info->defaultHighInputLatency;
    PaError code = Pa_OpenStream(&c->stream, &from, NULL, c->rate, paFramesPerBufferUnspecified, paClipOff, receive, c);
    if (code == paInvalidSampleRate)
        return lay_fail(err, LAY_BAD_INPUT, "the device '%s' does not record %g samples per second; its own are %g",
                        info->name, c->rate, info->defaultSampleRate);
    return code == paNoError ? LAY_OK : lay_device_failed(code, err);
}

static lay_status prepare(lay_capture *c, const lay_capture_options *o, const char *path, lay_error *err) {
    lay_keeper_options file = {.rate = c->rate, .channels = c->channels, .bits = c->plan.bits, .comment = o->comment};
    c->wanted = o->seconds > 0 ? (int64_t)ceil(o->seconds * c->rate) : 0;
    c->peaks = calloc((size_t)c->channels, sizeof *c->peaks);
    if (!c->peaks) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to record");
    lay_status status = LAY_OK;
    if (o->hear_s > 0) status = lay_ring_init(&c->ear.ring, (size_t)(o->hear_s * c->rate), (size_t)c->channels, err);
    if (status != LAY_OK || !path) return status;
    status = lay_ring_init(&c->disk.ring, (size_t)(HELD * c->rate), (size_t)c->channels, err);
    return status == LAY_OK ? lay_keeper_open(path, &file, &c->keeper, err) : status;
}

static lay_status run(lay_capture *c, lay_error *err) {
    if (c->keeper && pthread_create(&c->thread, NULL, write_on, c) != 0)
        return lay_fail(err, LAY_IO, "the system gives no thread to write the recording");
    c->writing = c->keeper != NULL;
    PaError code = Pa_StartStream(c->stream);
    c->running = code == paNoError;
    return c->running ? LAY_OK : lay_device_failed(code, err);
}

lay_status lay_capture_start(const lay_capture_options *o, const char *path, lay_capture **out, lay_error *err) {
    *out = NULL;
    PaError code = Pa_Initialize();
    if (code != paNoError) return lay_device_failed(code, err);
    lay_capture *c = lay_calloc(1, sizeof *c);
    lay_status status = c ? open_device(c, o, err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory to record");
    if (c) atomic_init(&c->first_loss, -1);
    if (status == LAY_OK) status = prepare(c, o, path, err);
    bool made = status == LAY_OK;
    if (status == LAY_OK && o->ready) status = o->ready(o->user, err);
    if (status == LAY_OK) status = run(c, err);
    if (status == LAY_OK) {
        *out = c;
        return LAY_OK;
    }
    if (c)
        lay_capture_stop(c, NULL, NULL);
    else
        Pa_Terminate();
    if (made && path) unlink(path); /* ours, made just now, and nothing is in it */
    return status;
}

void lay_capture_look(lay_capture *c, lay_capture_state *state, double *peaks) {
    int64_t first = atomic_load(&c->first_loss);
    *state = c->plan;
    state->frames = atomic_load(&c->frames);
    state->kept = atomic_load(&c->kept);
    state->lost = atomic_load(&c->lost);
    state->overruns = atomic_load(&c->overruns);
    if (first >= 0) state->first_loss_s = (double)first / c->rate;
    if (state->frames != c->seen || c->seen_at == 0) c->seen_at = seconds();
    c->seen = state->frames;
    state->ended = atomic_load(&c->broken) || seconds() - c->seen_at > PATIENCE ||
                   (c->running && Pa_IsStreamActive(c->stream) != 1);
    for (int i = 0; peaks && i < c->channels; i++) peaks[i] = ldexp((double)atomic_exchange(&c->peaks[i], 0), -31);
}

size_t lay_capture_hear(lay_capture *c, double *frames, size_t room) {
    const int32_t *from;
    size_t got = 0, n;
    while (got < room && c->ear.ring.room > 0 && (n = lay_ring_peek(&c->ear.ring, &from)) > 0) {
        if (n > room - got) n = room - got;
        double *to = frames + got * (size_t)c->channels;
        for (size_t i = 0; i < n * (size_t)c->channels; i++) to[i] = ldexp((double)from[i], -31);
        lay_ring_take(&c->ear.ring, n);
        got += n;
    }
    return got;
}

/* Ends the writing thread and the file: from here on the recording is safe. */
static lay_status finish(lay_capture *c, lay_error *err) {
    atomic_store(&c->deaf, true);
    while (atomic_load(&c->inside)) nanosleep(&(struct timespec){0, REST_NS}, NULL); /* it never waits, so this ends */
    atomic_store(&c->finish, true);
    if (c->writing) pthread_join(c->thread, NULL);
    lay_error closing = {0};
    lay_status closed = lay_keeper_close(c->keeper, &closing);
    c->keeper = NULL;
    if (err) *err = c->status != LAY_OK ? c->error : closing;
    return c->status != LAY_OK ? c->status : closed;
}

static void *let_go(void *user) {
    lay_capture *c = user;
    if (c->running) Pa_AbortStream(c->stream);
    if (c->stream) Pa_CloseStream(c->stream);
    Pa_Terminate();
    atomic_store(&c->closed, true);
    return NULL;
}

/* Some sound systems never answer once a device is gone: the caller is not kept waiting for them. */
static bool closed_in_time(lay_capture *c) {
    pthread_t closer;
    double start = seconds();
    if (pthread_create(&closer, NULL, let_go, c) != 0) return false;
    while (!atomic_load(&c->closed) && seconds() - start < PARTING) nanosleep(&(struct timespec){0, REST_NS}, NULL);
    if (!atomic_load(&c->closed)) {
        pthread_detach(closer);
        return false;
    }
    pthread_join(closer, NULL);
    return true;
}

lay_status lay_capture_stop(lay_capture *c, lay_capture_state *state, lay_error *err) {
    if (!c) return LAY_OK;
    lay_capture_state last;
    lay_capture_look(c, &last, NULL);
    bool gone = c->running && last.ended;
    lay_status status = finish(c, err);
    lay_capture_look(c, &last, NULL);
    if (state) *state = last;
    bool closed = closed_in_time(c);
    if (status == LAY_OK && (gone || !closed))
        status = lay_fail(err, LAY_IO, "the sound device stopped by itself%s",
                          last.kept > 0 ? "; the recording up to there is kept" : "");
    if (!closed) return status; /* what the sound system still holds cannot be freed */
    lay_ring_free(&c->disk.ring);
    lay_ring_free(&c->ear.ring);
    free(c->peaks);
    free(c);
    return status;
}

lay_status lay_sound_inputs(lay_text *out, lay_error *err) {
    return lay_device_list(true, out, err);
}

#else

lay_status lay_sound_inputs(lay_text *out, lay_error *err) {
    (void)out, (void)err;
    return LAY_OK;
}

lay_status lay_sound_begin(lay_error *err) {
    (void)err;
    return LAY_OK;
}

void lay_sound_end(void) {}

lay_status lay_capture_plan(const lay_capture_options *options, lay_capture_state *out, lay_error *err) {
    (void)options;
    *out = (lay_capture_state){0};
    return lay_fail(err, LAY_IO, "this layshaft was built without PortAudio and records nothing");
}

lay_status lay_capture_start(const lay_capture_options *options, const char *path, lay_capture **out, lay_error *err) {
    (void)options, (void)path;
    *out = NULL;
    return lay_fail(err, LAY_IO, "this layshaft was built without PortAudio and records nothing");
}

void lay_capture_look(lay_capture *capture, lay_capture_state *state, double *peaks) {
    (void)capture, (void)peaks;
    *state = (lay_capture_state){0};
}

size_t lay_capture_hear(lay_capture *capture, double *frames, size_t room) {
    (void)capture, (void)frames, (void)room;
    return 0;
}

lay_status lay_capture_stop(lay_capture *capture, lay_capture_state *state, lay_error *err) {
    (void)capture, (void)state, (void)err;
    return LAY_OK;
}

#endif
