/* A source delivers the samples of one kind of recording; recording.c picks the kind and drives it. */
#ifndef LAYSHAFT_SIGNAL_RECORDING_H
#define LAYSHAFT_SIGNAL_RECORDING_H

#include <layshaft/signal.h>

enum { LAY_MAX_CHANNELS = 1024 }; /* the most libsndfile reads; held for sample CSV too */

typedef struct lay_source lay_source;
struct lay_source {
    lay_recording_info info;
    void *state;         /* belongs to the kind */
    const char *comment; /* the file's own text, the kind's to free; NULL none */
    lay_status (*read)(lay_source *source, double *out, size_t frames, size_t *got, lay_error *err);
    lay_status (*rewind)(lay_source *source, lay_error *err);
    void (*close)(lay_source *source);
};

/* Sample CSV, one line per frame. Reads the whole file once to check it. On success `out` is ready at the first
 * frame and must be closed; on failure nothing is held. */
lay_status lay_csv_source_open(const char *path, double csv_rate, lay_source *out, lay_error *err);

#endif
