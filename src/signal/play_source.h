/* A recording as a sound device takes it: at the device's rate, in one or two channels, within full scale. */
#ifndef LAYSHAFT_SIGNAL_PLAY_SOURCE_H
#define LAYSHAFT_SIGNAL_PLAY_SOURCE_H

#include <layshaft/signal.h>

typedef struct lay_play_source lay_play_source;
/* Borrowed: `recording` must outlive it; it is read forward from where it is. `channels` 1 or 2: the first ones of the
 * recording, a single one on both. Samples are multiplied by `gain` and held within +-1; what is no number is 0. */
lay_status lay_play_source_new(lay_recording *recording, double rate, int channels, double gain, lay_play_source **out,
                               lay_error *err);
void lay_play_source_free(lay_play_source *source); /* NULL allowed */
/* Up to `frames` into out[frames * channels]; *got < frames only at the end. */
lay_status lay_play_source_read(lay_play_source *source, float *out, size_t frames, size_t *got, lay_error *err);

#endif
