/* The fuzzers' corpora are replayed in every run. */
#include "support/cmocka_all.h"

#include <dirent.h>
#include <layshaft/signal.h>
#include <stdio.h>
#include <stdlib.h>

#define LLVMFuzzerTestOneInput fuzz_runs
#include "../fuzz/fuzz_runs.c"
#undef LLVMFuzzerTestOneInput
#define LLVMFuzzerTestOneInput fuzz_csv
#include "../fuzz/fuzz_csv.c"
#undef LLVMFuzzerTestOneInput
#define LLVMFuzzerTestOneInput fuzz_log
#include "../fuzz/fuzz_log.c"
#undef LLVMFuzzerTestOneInput

#define LLVMFuzzerTestOneInput fuzz_found
#include "../fuzz/fuzz_found.c"
#undef LLVMFuzzerTestOneInput

#define LLVMFuzzerTestOneInput fuzz_limits
#include "../fuzz/fuzz_limits.c"
#undef LLVMFuzzerTestOneInput
#define LLVMFuzzerTestOneInput fuzz_baseline
#include "../fuzz/fuzz_baseline.c"
#undef LLVMFuzzerTestOneInput

static int replay(const char *folder, int (*target)(const uint8_t *, size_t)) {
    char path[600];
    int count = 0;
    DIR *dir = opendir(folder);
    assert_non_null(dir);
    for (const struct dirent *d; (d = readdir(dir)) != NULL;) {
        char *bytes;
        size_t length;
        if (d->d_name[0] == '.') continue;
        snprintf(path, sizeof path, "%s/%s", folder, d->d_name);
        print_message("%s\n", d->d_name); /* a target that finds something aborts: the last name is the input */
        assert_int_equal(lay_read_file(path, 1 << 20, &bytes, &length, NULL), LAY_OK);
        target((const uint8_t *)bytes, length);
        free(bytes);
        count++;
    }
    closedir(dir);
    return count;
}

static void tables_of_runs(void **state) {
    (void)state;
    assert_true(replay(LAYSHAFT_SOURCE_DIR "/tests/fuzz/corpus/runs", fuzz_runs) >= 10);
}

static void sample_csv(void **state) {
    (void)state;
    assert_true(replay(LAYSHAFT_SOURCE_DIR "/tests/fuzz/corpus/csv", fuzz_csv) >= 10);
}

static void rpm_logs(void **state) {
    (void)state;
    assert_true(replay(LAYSHAFT_SOURCE_DIR "/tests/fuzz/corpus/log", fuzz_log) >= 10);
}

static void findings(void **state) {
    (void)state;
    assert_true(replay(LAYSHAFT_SOURCE_DIR "/tests/fuzz/corpus/found", fuzz_found) >= 10);
}

static void limits_and_baselines(void **state) {
    (void)state;
    assert_true(replay(LAYSHAFT_SOURCE_DIR "/tests/fuzz/corpus/limits", fuzz_limits) >= 10);
    assert_true(replay(LAYSHAFT_SOURCE_DIR "/tests/fuzz/corpus/baseline", fuzz_baseline) >= 10);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(tables_of_runs), cmocka_unit_test(sample_csv),
                                       cmocka_unit_test(rpm_logs), cmocka_unit_test(findings),
                                       cmocka_unit_test(limits_and_baselines)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
