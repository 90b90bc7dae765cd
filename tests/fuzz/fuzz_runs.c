/* Fuzz target: any bytes as runs.csv. Build with -fsanitize=fuzzer,address,undefined; corpus under corpus/runs. */
#include <layshaft/signal.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    lay_run_table table;
    lay_error err = {0};
    char text[2048];
    if (lay_run_table_parse((const char *)data, size, "job/runs.csv", &table, &err) == LAY_OK) {
        if (table.count == 0 || table.runs[0].path == NULL || !(table.runs[0].full_scale > 0)) abort();
    } else {
        if (err.message[0] == 0 || table.runs != NULL) abort();
        lay_error_format(&err, text, sizeof text);
    }
    lay_run_table_free(&table);
    return 0;
}
