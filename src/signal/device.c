/* Sound devices: found as a user names them, and listed. */
#ifdef LAY_HAVE_PORTAUDIO

#include "device.h"

#include <string.h>
#include <strings.h>

lay_status lay_device_failed(PaError code, lay_error *err) {
    return lay_fail(err, LAY_IO, "the sound system says: %s", Pa_GetErrorText(code));
}

static bool contains(const char *text, const char *word) {
    size_t length = strlen(word);
    for (; *text; text++)
        if (strncasecmp(text, word, length) == 0) return true;
    return false;
}

static int channels_of(const PaDeviceInfo *info, bool input) {
    return input ? info->maxInputChannels : info->maxOutputChannels;
}

lay_status lay_device_find(const char *wish, bool input, PaDeviceIndex *out, lay_error *err) {
    double number = 0;
    bool numbered = wish && lay_parse_number(wish, &number);
    *out = input ? Pa_GetDefaultInputDevice() : Pa_GetDefaultOutputDevice();
    for (PaDeviceIndex i = 0; wish && i < Pa_GetDeviceCount(); i++) {
        const PaDeviceInfo *info = Pa_GetDeviceInfo(i);
        if (channels_of(info, input) < 1) continue;
        if (numbered ? (double)i == number : contains(info->name, wish)) {
            *out = i;
            return LAY_OK;
        }
    }
    if (wish) return lay_fail(err, LAY_BAD_INPUT, "there is no %s device '%.60s'", input ? "input" : "output", wish);
    if (*out != paNoDevice) return LAY_OK;
    return lay_fail(err, LAY_IO, "there is no sound device to %s", input ? "record from" : "play on");
}

lay_status lay_device_list(bool input, lay_text *out, lay_error *err) {
    PaError code = Pa_Initialize();
    if (code != paNoError) return lay_device_failed(code, err);
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); i++) {
        const PaDeviceInfo *info = Pa_GetDeviceInfo(i);
        int channels = channels_of(info, input);
        if (channels > 0) lay_text_add(out, "%d %s, %d channels\n", i, info->name, channels);
    }
    Pa_Terminate();
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory") : LAY_OK;
}

#else

typedef int lay_no_device; /* a file may not be empty */

#endif
