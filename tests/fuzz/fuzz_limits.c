/* Fuzz target: any bytes as a table of limits. Build with -fsanitize=fuzzer,address,undefined; corpus under
 * corpus/limits. */
#include <layshaft/signal.h>

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    lay_limit_table table;
    lay_error err = {0};
    char text[2048];
    if (lay_limit_table_parse((const char *)data, size, "limits.csv", &table, &err) == LAY_OK) {
        if (table.count == 0) abort();
        for (size_t i = 0; i < table.count; i++)
            if (!table.rows[i].part[0] || !(table.rows[i].limit_db > -300 && table.rows[i].limit_db < 300)) abort();
    } else {
        if (err.message[0] == 0 || table.rows != NULL) abort();
        lay_error_format(&err, text, sizeof text);
    }
    lay_limit_table_free(&table);
    return 0;
}
