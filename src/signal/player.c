/* Recordings to the ear. */
#include "play_source.h"

#ifdef LAY_HAVE_PORTAUDIO

#include "device.h"

#include <stdlib.h>

#define FRAMES 1024

typedef struct player {
    lay_recording *recording;
    lay_play_source *source;
    PaStream *stream;
    float *out;
    double rate;  /* of the device: the recording's own where it can */
    int channels; /* of the device: 1 or 2 */
} player;

bool lay_sound_built(void) {
    return true;
}

lay_status lay_sound_devices(lay_text *out, lay_error *err) {
    return lay_device_list(false, out, err);
}

/* ---- playing ---- */

static lay_status start(player *p, const char *device, lay_error *err) {
    PaStreamParameters to = {.sampleFormat = paFloat32};
    lay_status status = lay_device_find(device, false, &to.device, err);
    if (status != LAY_OK) return status;
    const PaDeviceInfo *info = Pa_GetDeviceInfo(to.device);
    to.channelCount = p->channels = info->maxOutputChannels > 1 ? 2 : 1;
    to.suggestedLatency = info->defaultHighOutputLatency;
    p->rate = lay_recording_get_info(p->recording)->rate;
    PaError code = Pa_OpenStream(&p->stream, NULL, &to, p->rate, FRAMES, paNoFlag, NULL, NULL);
    if (code == paInvalidSampleRate) {
        p->rate = info->defaultSampleRate;
        code = Pa_OpenStream(&p->stream, NULL, &to, p->rate, FRAMES, paNoFlag, NULL, NULL);
    }
    if (code == paNoError) code = Pa_StartStream(p->stream);
    return code == paNoError ? LAY_OK : lay_device_failed(code, err);
}

static lay_status play(player *p, lay_stop stop, void *user, lay_error *err) {
    size_t got = FRAMES;
    while (got == FRAMES && !(stop && stop(user))) {
        lay_status status = lay_play_source_read(p->source, p->out, FRAMES, &got, err);
        if (status != LAY_OK) return status;
        PaError code = got ? Pa_WriteStream(p->stream, p->out, got) : paNoError;
        if (code != paNoError && code != paOutputUnderflowed) return lay_device_failed(code, err);
    }
    return LAY_OK;
}

/* To the end: what is still on its way is played. Stopped: it is not. */
static void end(player *p, bool at_once) {
    if (!p->stream) return;
    if (at_once)
        Pa_AbortStream(p->stream);
    else
        Pa_StopStream(p->stream);
    Pa_CloseStream(p->stream);
}

lay_status lay_sound_play(const char *path, const char *device, double gain, lay_stop stop, void *user,
                          lay_error *err) {
    player p = {0};
    lay_status status = lay_recording_open(path, 0, &p.recording, err);
    if (status != LAY_OK) return status;
    p.out = lay_calloc(FRAMES * 2, sizeof *p.out);
    PaError code = Pa_Initialize();
    if (!p.out)
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to play");
    else if (code != paNoError)
        status = lay_device_failed(code, err);
    if (status == LAY_OK) status = start(&p, device, err);
    if (status == LAY_OK) status = lay_play_source_new(p.recording, p.rate, p.channels, gain, &p.source, err);
    if (status == LAY_OK) status = play(&p, stop, user, err);
    end(&p, stop && stop(user));
    if (code == paNoError) Pa_Terminate();
    lay_play_source_free(p.source);
    free(p.out);
    lay_recording_close(p.recording);
    return status;
}

#else

bool lay_sound_built(void) {
    return false;
}

lay_status lay_sound_devices(lay_text *out, lay_error *err) {
    (void)out;
    (void)err;
    return LAY_OK;
}

lay_status lay_sound_play(const char *path, const char *device, double gain, lay_stop stop, void *user,
                          lay_error *err) {
    (void)path, (void)device, (void)gain, (void)stop, (void)user;
    return lay_fail(err, LAY_IO, "this layshaft was built without PortAudio and plays nothing");
}

#endif
