#include "reading.h"

static lay_status feed_all(lay_reading *r, lay_stft *stft, lay_error *err) {
    size_t stride = (size_t)r->info->channels, got = 1;
    lay_status status = LAY_OK;
    while (status == LAY_OK && got > 0) {
        status = lay_recording_read(r->recording, r->block, LAY_BLOCK, &got, err);
        if (status == LAY_OK) lay_stft_feed(stft, r->block + r->channels[0], stride, got);
    }
    return status;
}

lay_status lay_run_spectrogram(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                               const lay_stft_options *options, lay_spectrogram *out, lay_error *err) {
    lay_run_evidence run = {.tach_body = -1, .full_scale = 1};
    lay_reading r = {.unit = unit, .spec = spec, .table_path = table_path, .out = &run};
    lay_stft *stft = NULL;
    lay_stft_options o = *options;
    *out = (lay_spectrogram){0};
    lay_status status = lay_reading_open(&r, err);
    if (status != LAY_OK) goto done;
    o.rate = r.info->rate;
    status = lay_stft_new(&o, &stft, err);
    if (status == LAY_OK) status = feed_all(&r, stft, err);
    if (status == LAY_OK) status = lay_stft_finish(stft, out, err);
done:
    lay_stft_free(stft);
    lay_reading_close(&r);
    lay_run_evidence_free(&run);
    return status;
}
