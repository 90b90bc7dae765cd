/* Every wrong unit file is refused at the right line with a message that helps. The README is the table. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "support/close.h"
#include "support/unit_text.h"

#include <stdio.h>

static const char *source(void) {
    const char *root = getenv("LAYSHAFT_SOURCE");
    return root ? root : ".";
}

static char *path_of(const char *name) {
    lay_text path = {0};
    lay_text_add(&path, "%s/tests/malformed/unit/%s", source(), name);
    return path.text;
}

static int check_file(const char *name, int line, const char *words) {
    lay_unit *u = NULL;
    lay_error err = {0};
    char shown[2048], *path = path_of(name);
    lay_status status = lay_unit_load(path, &u, &err);
    lay_error_format(&err, shown, sizeof shown);
    bool good = status == LAY_BAD_INPUT && !u && err.line == line && strstr(err.message, words) &&
                strcmp(err.file, path) == 0 && (line == 0 || err.column > 0 || strstr(name, "control"));
    if (!good) printf("%s: wanted line %d and \"%s\", got status %d:\n%s", name, line, words, (int)status, shown);
    lay_unit_free(u);
    free(path);
    return good ? 0 : 1;
}

static void every_bad_file_is_refused(void **state) {
    (void)state;
    char *readme = path_of("README"), *text = NULL, *rest = NULL;
    size_t length = 0;
    int wrong = 0, count = 0;
    assert_int_equal(lay_read_file(readme, 1 << 16, &text, &length, NULL), LAY_OK);
    for (char *row = strtok_r(text, "\n", &rest); row; row = strtok_r(NULL, "\n", &rest)) {
        char *line = strchr(row, '\t'), *words = line ? strchr(line + 1, '\t') : NULL;
        if (!words) continue;
        *line = *words = 0;
        wrong += check_file(row, atoi(line + 1), words + 1);
        count++;
    }
    assert_int_equal(wrong, 0);
    assert_true(count > 70);
    free(text);
    free(readme);
}

/* A file cut anywhere is refused or read, and never crashes; so is one with any byte replaced. */
static void cut_and_spoilt_files(void **state) {
    (void)state;
    lay_text path = {0};
    char *text = NULL;
    size_t length = 0;
    lay_text_add(&path, "%s/recordings/units/four-speed-overdrive.ini", source());
    assert_int_equal(lay_read_file(path.text, 1 << 16, &text, &length, NULL), LAY_OK);
    for (size_t n = 0; n < length; n += 7) {
        lay_unit *u = NULL;
        lay_error err = {0};
        lay_status status = lay_unit_parse(text, n, "cut.ini", &u, &err);
        assert_true((status == LAY_OK) == (u != NULL));
        assert_true(status == LAY_OK || err.message[0] != 0);
        lay_unit_free(u);
        char keep = text[n];
        text[n] = (char)(n * 37);
        (void)lay_unit_parse(text, length, "spoilt.ini", &u, &err);
        lay_unit_free(u);
        text[n] = keep;
    }
    free(text);
    lay_text_free(&path);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_bad_file_is_refused),
                                       cmocka_unit_test(cut_and_spoilt_files)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
