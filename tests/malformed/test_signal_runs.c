/* Every bad table under tests/malformed/runs is refused at the right place with a helpful message. */
#include "support/cmocka_all.h"

#include <dirent.h>
#include <layshaft/signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char folder[] = LAYSHAFT_SOURCE_DIR "/tests/malformed/runs";

typedef struct expectation {
    char file[64], message[128];
    int line, column;
} expectation;

static size_t read_expectations(expectation *out, size_t most) {
    char path[600], text[400];
    snprintf(path, sizeof path, "%s/README.md", folder);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    size_t n = 0;
    while (n < most && fgets(text, sizeof text, file) != NULL) {
        expectation e = {0};
        if (sscanf(text, "| %63s | %d:%d | %127[^|]", e.file, &e.line, &e.column, e.message) != 4) continue;
        e.message[strlen(e.message) - 1] = 0; /* the blank before the bar */
        out[n++] = e;
    }
    fclose(file);
    return n;
}

static void check_one(const expectation *e) {
    char path[600];
    lay_run_table table;
    lay_error err = {0};
    snprintf(path, sizeof path, "%s/%s", folder, e->file);
    lay_status status = lay_run_table_load(path, &table, &err);
    if (status != LAY_BAD_INPUT) fail_msg("%s: status %d", e->file, (int)status);
    if (err.line != e->line || err.column != e->column || strstr(err.message, e->message) == NULL)
        fail_msg("%s: expected %d:%d '%s', got %d:%d '%s'", e->file, e->line, e->column, e->message, err.line,
                 err.column, err.message);
    if (strstr(err.file, e->file) == NULL) fail_msg("%s: the error names '%s'", e->file, err.file);
    assert_null(table.runs);
}

static void every_bad_table(void **state) {
    (void)state;
    static expectation expected[200];
    size_t count = read_expectations(expected, 200), files = 0;
    for (size_t i = 0; i < count; i++) check_one(&expected[i]);
    DIR *dir = opendir(folder);
    assert_non_null(dir);
    for (const struct dirent *d; (d = readdir(dir)) != NULL;) files += strncmp(d->d_name, "bad-", 4) == 0;
    closedir(dir);
    assert_true(count > 30);
    assert_int_equal(files, count); /* each file is explained */
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_bad_table)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
