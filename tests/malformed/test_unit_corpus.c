/* The corpus of the fuzz target in every normal test run. */
#include <layshaft/base.h>

#include <dirent.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../fuzz/fuzz_unit.c"

static void corpus_runs_through(void **state) {
    (void)state;
    const char *root = getenv("LAYSHAFT_SOURCE");
    lay_text folder = {0};
    int count = 0;
    lay_text_add(&folder, "%s/tests/fuzz/corpus/unit", root ? root : ".");
    DIR *dir = opendir(folder.text);
    assert_non_null(dir);
    for (struct dirent *entry; (entry = readdir(dir)) != NULL;) {
        char *path = lay_path_join(folder.text, entry->d_name), *data = NULL;
        size_t length = 0;
        if (entry->d_name[0] != '.' && lay_read_file(path, 1 << 20, &data, &length, NULL) == LAY_OK) {
            assert_int_equal(LLVMFuzzerTestOneInput((const uint8_t *)data, length), 0);
            count++;
        }
        free(data);
        free(path);
    }
    closedir(dir);
    lay_text_free(&folder);
    assert_true(count >= 15);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(corpus_runs_through)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
