/* Fuzz target: any bytes as found.csv. Build with -fsanitize=fuzzer,address,undefined; corpus under corpus/found. */
#include <layshaft/judge.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    lay_found_table table;
    lay_ledger ledger = {0};
    lay_error err = {0};
    char text[2048];
    if (lay_found_parse((const char *)data, size, "job/found.csv", &table, &err) == LAY_OK) {
        lay_ledger_add(&ledger, &table);
        if (ledger.jobs != (table.count > 0)) abort();
    } else {
        if (err.message[0] == 0 || table.rows != NULL) abort();
        lay_error_format(&err, text, sizeof text);
    }
    lay_ledger_free(&ledger);
    lay_found_free(&table);
    return 0;
}
