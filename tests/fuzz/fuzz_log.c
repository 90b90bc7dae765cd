/* Fuzz target: any bytes as an rpm log. Build with -fsanitize=fuzzer,address,undefined; corpus under corpus/log. */
#include <layshaft/signal.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* What cannot be written must not pass for tested. */
static void write_log(const char *path, const uint8_t *data, size_t size) {
    FILE *file = fopen(path, "wb");
    if (file == NULL) abort();
    if (fwrite(data, 1, size, file) != size) abort();
    if (fclose(file) != 0) abort();
}

static void check_log(const lay_rpm_log *log) {
    if (log->count < 2 || log->time[0] != 0 || !(log->step_s > 0)) abort();
    for (size_t i = 0; i < log->count; i++) {
        if (!(log->rpm[i] >= 0 && log->rpm[i] <= 200000)) abort();
        if (!isfinite(log->time[i]) || (i > 0 && !(log->time[i] > log->time[i - 1]))) abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char folder[] = "/tmp/layshaft-fuzz-XXXXXX", path[64], text[2048];
    lay_rpm_log log;
    lay_text warnings = {0};
    lay_error err = {0};
    if (mkdtemp(folder) == NULL) abort();
    snprintf(path, sizeof path, "%s/log.csv", folder);
    write_log(path, data, size);
    if (lay_rpm_log_load(path, &log, &warnings, &err) == LAY_OK)
        check_log(&log);
    else if (err.message[0] == 0 || log.time != NULL || log.count != 0)
        abort();
    lay_error_format(&err, text, sizeof text);
    lay_rpm_log_free(&log);
    lay_text_free(&warnings);
    unlink(path);
    rmdir(folder);
    return 0;
}
