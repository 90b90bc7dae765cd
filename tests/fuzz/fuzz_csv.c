/* Fuzz target: any bytes as sample CSV. Build with -fsanitize=fuzzer,address,undefined; corpus under corpus/csv. */
#include <layshaft/signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* What cannot be written must not pass for tested. */
static void write_input(const char *path, const uint8_t *data, size_t size) {
    FILE *file = fopen(path, "wb");
    if (file == NULL) abort();
    if (fwrite(data, 1, size, file) != size) abort();
    if (fclose(file) != 0) abort();
}

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
    char folder[] = "/tmp/layshaft-fuzz-XXXXXX", path[64], text[2048];
    lay_recording *rec = NULL;
    lay_error err = {0};
    if (mkdtemp(folder) == NULL) abort();
    snprintf(path, sizeof path, "%s/input.csv", folder);
    write_input(path, data, size);
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
    rmdir(folder);
    return 0;
}
