/* Fuzz target: any bytes as sample CSV. Build with -fsanitize=fuzzer,address,undefined; corpus under corpus/csv. */
#include <layshaft/signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void read_through(lay_recording *rec) {
    const lay_recording_info *info = lay_recording_get_info(rec);
    double *x = malloc((size_t)info->channels * 7 * sizeof *x);
    int64_t total = 0;
    size_t got;
    do {
        if (lay_recording_read(rec, x, 7, &got, NULL) != LAY_OK) abort();
        total += (int64_t)got;
    } while (got == 7);
    if (total != info->frames || !(info->rate > 0)) abort();
    free(x);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char path[64], text[2048];
    lay_recording *rec = NULL;
    lay_error err = {0};
    snprintf(path, sizeof path, "/tmp/layshaft-fuzz-%ld.csv", (long)getpid());
    FILE *file = fopen(path, "wb");
    if (file == NULL) return 0;
    fwrite(data, 1, size, file);
    fclose(file);
    if (lay_recording_open(path, size % 2 ? 8000 : 0, &rec, &err) == LAY_OK) {
        read_through(rec);
        if (lay_recording_rewind(rec, NULL) != LAY_OK) abort();
        read_through(rec);
    } else if (err.message[0] == 0) {
        abort();
    }
    lay_error_format(&err, text, sizeof text);
    lay_recording_close(rec);
    unlink(path);
    return 0;
}
