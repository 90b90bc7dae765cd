/* Where the sound of `layshaft watch` comes from: a device, or a file as if it were one. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "clock.h"
#include "watch.h"

#define HELD_S 2.0
#define FULL 0.999
#define SHOWN_S 3.0   /* clipping is told for so long */
#define PIECE_S 0.125 /* of a file that is not paced */

struct lay_watch_source {
    lay_capture *capture;
    lay_capture_state state;
    double *peaks;
    double clipped_at; /* monotonic clock; NaN never */
    int clipped_channel;
    lay_recording *file;
    char *name;
    double rate, pace, begun;
    int channels;
    int64_t frames; /* read */
};

static lay_status finish_open(lay_watch_source *s, lay_status status, lay_watch_source **out, lay_error *err) {
    if (status == LAY_OK && (!s->name || !(s->peaks = lay_calloc((size_t)s->channels, sizeof *s->peaks))))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    if (status != LAY_OK) {
        lay_watch_source_close(s, NULL, NULL);
        return status;
    }
    s->begun = lay_clock_s();
    s->clipped_at = NAN;
    *out = s;
    return LAY_OK;
}

lay_status lay_watch_source_file(const char *path, double csv_rate, double pace, lay_watch_source **out,
                                 lay_error *err) {
    *out = NULL;
    lay_watch_source *s = lay_calloc(1, sizeof *s);
    if (!s) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    lay_status status = lay_recording_open(path, csv_rate, &s->file, err);
    if (status == LAY_OK) {
        const char *slash = strrchr(path, '/');
        s->rate = lay_recording_get_info(s->file)->rate;
        s->channels = lay_recording_get_info(s->file)->channels;
        s->pace = pace;
        s->name = lay_strdup(slash ? slash + 1 : path);
    }
    return finish_open(s, status, out, err);
}

lay_status lay_watch_source_device(const lay_capture_options *capture, const char *path, lay_watch_source **out,
                                   lay_error *err) {
    *out = NULL;
    lay_watch_source *s = lay_calloc(1, sizeof *s);
    if (!s) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    lay_capture_options o = *capture;
    o.hear_s = HELD_S;
    lay_status status = lay_capture_start(&o, path, &s->capture, err);
    if (status == LAY_OK) {
        lay_capture_look(s->capture, &s->state, NULL);
        s->rate = s->state.rate;
        s->channels = s->state.channels;
        s->name = lay_strdup(s->state.device);
    }
    return finish_open(s, status, out, err);
}

double lay_watch_source_rate(const lay_watch_source *s) {
    return s->rate;
}

int lay_watch_source_channels(const lay_watch_source *s) {
    return s->channels;
}

const char *lay_watch_source_name(const lay_watch_source *s) {
    return s->name;
}

static void look_for_clipping(lay_watch_source *s) {
    for (int c = 0; c < s->channels; c++)
        if (s->peaks[c] >= FULL) {
            s->clipped_at = lay_clock_s();
            s->clipped_channel = c + 1;
        }
}

static lay_status read_file(lay_watch_source *s, double *frames, size_t room, size_t *got, bool *over, lay_error *err) {
    double due = s->pace > 0 ? s->pace * (lay_clock_s() - s->begun) * s->rate - (double)s->frames : PIECE_S * s->rate;
    size_t ask = due < 1 ? 0 : due > (double)room ? room : (size_t)due;
    if (ask == 0) return LAY_OK;
    lay_status status = lay_recording_read(s->file, frames, ask, got, err);
    *over = *got < ask;
    s->frames += (int64_t)*got;
    memset(s->peaks, 0, (size_t)s->channels * sizeof *s->peaks);
    for (size_t i = 0; i < *got * (size_t)s->channels; i++) {
        double *peak = &s->peaks[i % (size_t)s->channels];
        *peak = fmax(*peak, fabs(frames[i]));
    }
    return status;
}

lay_status lay_watch_source_read(lay_watch_source *s, double *frames, size_t room, size_t *got, bool *over,
                                 lay_error *err) {
    *got = 0;
    lay_status status = LAY_OK;
    if (s->file)
        status = read_file(s, frames, room, got, over, err);
    else {
        *got = lay_capture_hear(s->capture, frames, room);
        lay_capture_look(s->capture, &s->state, s->peaks);
        *over = s->state.ended && *got == 0;
    }
    look_for_clipping(s);
    return status;
}

void lay_watch_source_trouble(lay_watch_source *s, char *text, size_t room) {
    text[0] = 0;
    if (s->state.lost > 0 || s->state.overruns > 0)
        snprintf(text, room, "samples were lost, first at %.1f s", s->state.first_loss_s);
    else if (lay_clock_s() - s->clipped_at < SHOWN_S)
        snprintf(text, room, "channel %d clips: lower its gain", s->clipped_channel);
}

lay_status lay_watch_source_close(lay_watch_source *s, lay_capture_state *state, lay_error *err) {
    if (!s) return LAY_OK;
    lay_status status = lay_capture_stop(s->capture, &s->state, err);
    if (state) *state = s->state;
    lay_recording_close(s->file);
    free(s->peaks);
    free(s->name);
    free(s);
    return status;
}
