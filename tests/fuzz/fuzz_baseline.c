/* Fuzz target: any bytes as a baseline; what is taken must give limits, or a reason why not, and be written again. Build
 * with -fsanitize=fuzzer,address,undefined; corpus under corpus/baseline. */
#include <layshaft/report.h>

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    lay_baseline *b = NULL, *again = NULL;
    lay_limits limits;
    lay_text text = {0};
    lay_error err = {0};
    if (lay_report_baseline_parse((const char *)data, size, "b.json", &b, &err) != LAY_OK) {
        if (err.message[0] == 0 || b != NULL) abort();
        return 0;
    }
    if (b->unit_count <= 6 && lay_limits_find(b, &limits, &err) == LAY_OK) lay_limits_free(&limits);
    if (lay_report_baseline_file(b, &text) != LAY_OK) abort();
    if (lay_report_baseline_parse(text.text, text.length, "again.json", &again, &err) != LAY_OK) abort();
    lay_baseline_free(again);
    lay_baseline_free(b);
    lay_text_free(&text);
    return 0;
}
