#include "reading.h"

#include <math.h>
#include <stdlib.h>

/* A run is read again for whatever takes a closer look after the verdict. */

struct lay_run_stream {
    lay_reading reading;
    lay_run_evidence run; /* what opening finds, no more */
};

lay_status lay_run_stream_open(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                               lay_run_stream **out, lay_error *err) {
    *out = NULL;
    lay_run_stream *s = lay_calloc(1, sizeof *s);
    if (!s) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
    s->run = (lay_run_evidence){.tach_body = -1, .full_scale = 1};
    s->reading = (lay_reading){.unit = unit, .spec = spec, .table_path = table_path, .out = &s->run};
    lay_status status = lay_reading_open(&s->reading, err);
    if (status != LAY_OK) {
        lay_run_stream_close(s);
        return status;
    }
    *out = s;
    return LAY_OK;
}

double lay_run_stream_rate(const lay_run_stream *stream) {
    return stream->reading.info->rate;
}

int lay_run_stream_channels(const lay_run_stream *stream) {
    return (int)stream->reading.channel_count;
}

lay_status lay_run_stream_read(lay_run_stream *stream, double *out, size_t frames, size_t *got, lay_error *err) {
    lay_reading *r = &stream->reading;
    size_t n = r->channel_count;
    *got = 0;
    while (*got < frames) {
        size_t ask = frames - *got < LAY_BLOCK ? frames - *got : LAY_BLOCK, have = 0;
        lay_status status = lay_recording_read(r->recording, r->block, ask, &have, err);
        if (status != LAY_OK) return status;
        if (have == 0) break;
        lay_reading_pick(r, have);
        for (size_t i = 0; i < have * n; i++) out[*got * n + i] = isfinite(r->picked[i]) ? r->picked[i] : 0;
        *got += have;
    }
    return LAY_OK;
}

lay_status lay_run_stream_each(lay_run_stream *stream, lay_run_take take, void *user, lay_error *err) {
    size_t channels = stream->reading.channel_count, got = LAY_BLOCK;
    double *block = lay_calloc(LAY_BLOCK * channels, sizeof *block);
    lay_status status = block ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
    while (status == LAY_OK && got == LAY_BLOCK) {
        status = lay_run_stream_read(stream, block, LAY_BLOCK, &got, err);
        if (status == LAY_OK && got > 0) status = take(block, got, user, err);
    }
    free(block);
    return status;
}

void lay_run_stream_close(lay_run_stream *stream) {
    if (!stream) return;
    lay_reading_close(&stream->reading);
    lay_run_evidence_free(&stream->run);
    free(stream);
}
