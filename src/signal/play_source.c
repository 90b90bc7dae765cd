#include "play_source.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CHUNK 1024      /* frames read at once */
#define HALF 16         /* zero crossings of the kernel either side */
#define BETA 9.0        /* of its Kaiser window: some 90 dB */
#define BELOW_EDGE 0.92 /* of the lower one of the two Nyquist rates is kept; the kernel falls from there on */

/* A stretch of the recording in `window`, from absolute frame `base` on; the next frame that is delivered lies at
 * `next` of the device's rate. */
struct lay_play_source {
    lay_recording *recording;
    size_t in_channels, channels;
    double gain, step, cutoff; /* step: frames of the recording per frame delivered */
    lay_sinc *sinc;            /* NULL: the rates are equal */
    size_t reach;
    double *block;     /* [CHUNK * in_channels] */
    double *window;    /* [room * channels] */
    size_t room, held; /* frames */
    int64_t base, next;
    bool ended;
};

void lay_play_source_free(lay_play_source *s) {
    if (!s) return;
    lay_sinc_free(s->sinc);
    free(s->block);
    free(s->window);
    free(s);
}

lay_status lay_play_source_new(lay_recording *recording, double rate, int channels, double gain, lay_play_source **out,
                               lay_error *err) {
    const lay_recording_info *info = lay_recording_get_info(recording);
    *out = NULL;
    lay_play_source *s = lay_calloc(1, sizeof *s);
    if (!s) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to play");
    s->recording = recording;
    s->in_channels = (size_t)info->channels;
    s->channels = (size_t)channels;
    s->gain = gain;
    s->step = info->rate / rate;
    s->cutoff = fmin(1, BELOW_EDGE / s->step);
    lay_status status = LAY_OK;
    if (fabs(s->step - 1) > 1e-12) status = lay_sinc_new(HALF, BETA, &s->sinc, err);
    s->reach = s->sinc ? lay_sinc_reach(s->sinc, s->cutoff) + 1 : 1;
    s->room = 2 * s->reach + 2 * CHUNK;
    s->block = lay_calloc(CHUNK * s->in_channels, sizeof *s->block);
    s->window = lay_calloc(s->room * s->channels, sizeof *s->window);
    if (status == LAY_OK && (!s->block || !s->window))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to play");
    if (status == LAY_OK)
        *out = s;
    else
        lay_play_source_free(s);
    return status;
}

/* Let go of what lies before `needed` and read on. */
static lay_status read_on(lay_play_source *s, int64_t needed, lay_error *err) {
    size_t gone = needed > s->base ? (size_t)(needed - s->base) : 0, got = 0;
    if (gone > s->held) gone = s->held;
    memmove(s->window, s->window + gone * s->channels, (s->held - gone) * s->channels * sizeof *s->window);
    s->held -= gone;
    s->base += (int64_t)gone;
    lay_status status = lay_recording_read(s->recording, s->block, CHUNK, &got, err);
    s->ended = got < CHUNK;
    for (size_t i = 0; i < got; i++)
        for (size_t c = 0; c < s->channels; c++) {
            double x = s->block[i * s->in_channels + (c < s->in_channels ? c : 0)];
            s->window[(s->held + i) * s->channels + c] = isfinite(x) ? x : 0;
        }
    s->held += got;
    return status;
}

static float value(const lay_play_source *s, double position, size_t channel) {
    double at = position - (double)s->base;
    double x = s->sinc ? lay_sinc_at(s->sinc, s->window + channel, s->held, s->channels, at, s->cutoff)
                       : s->window[(size_t)at * s->channels + channel];
    return (float)fmax(-1, fmin(1, s->gain * x));
}

lay_status lay_play_source_read(lay_play_source *s, float *out, size_t frames, size_t *got, lay_error *err) {
    *got = 0;
    while (*got < frames) {
        double position = (double)s->next * s->step;
        int64_t centre = (int64_t)floor(position), end = s->base + (int64_t)s->held;
        if (centre + (int64_t)s->reach >= end && !s->ended) {
            lay_status status = read_on(s, centre - (int64_t)s->reach, err);
            if (status != LAY_OK) return status;
            continue;
        }
        if (position >= (double)end) break;
        for (size_t c = 0; c < s->channels; c++) out[*got * s->channels + c] = value(s, position, c);
        (*got)++;
        s->next++;
    }
    return LAY_OK;
}
