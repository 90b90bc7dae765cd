/* The report folder: made when missing, earlier pictures replaced, strangers left alone. */
#include <layshaft/report.h>

#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/layshaft-report-XXXXXX";

static char *inside(const char *name) {
    char *path = lay_path_join(folder, name);
    assert_non_null(path);
    return path;
}

static bool exists(const char *name) {
    struct stat st;
    char *path = inside(name);
    bool there = stat(path, &st) == 0;
    free(path);
    return there;
}

static void put(const char *name, const char *content) {
    lay_error err;
    char *path = inside(name);
    assert_int_equal(lay_write_file(path, content, strlen(content), &err), LAY_OK);
    free(path);
}

static void drop(const char *name) {
    char *path = inside(name);
    if (unlink(path) != 0) rmdir(path);
    free(path);
}

static void test_write(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0}, plot = {0};
    lay_strings written = {0};
    char *where = inside("report");
    fixture_make(&f);
    assert_int_equal(mkdir(where, 0755), 0);
    put("report/run-07-spectrum.png", "of an earlier report");
    put("report/run-07-envelope.svg", "of an earlier report");
    put("report/run-01-envelope.png", "of an earlier report, of a run that is there still");
    put("report/run-02-speed.png", "of an earlier report");
    put("report/suspect-1-alone.flac", "of an earlier report");
    put("report/notes.txt", "mine");
    put("report/run-01-spectrum.wav", "a recording");
    assert_int_equal(
        lay_report_write(f.unit, &f.table, &f.diagnosis, &(lay_report_options){.folder = where}, &written, &plot, &err),
        LAY_OK);
    assert_int_equal(plot.code, LAY_OK);
    static const char *const files[] = {"report.txt", "report.json", "lines.csv", "report.html"};
    assert_int_equal(written.count, 4);
    for (size_t i = 0; i < 4; i++) assert_string_equal(written.items[i], files[i]);
    assert_true(exists("report/report.txt") && exists("report/report.json"));
    assert_false(exists("report/run-07-spectrum.png"));
    assert_false(exists("report/run-02-speed.png") || exists("report/suspect-1-alone.flac"));
    assert_false(exists("report/run-07-envelope.svg") || exists("report/run-01-envelope.png"));
    assert_true(exists("report/notes.txt") && exists("report/run-01-spectrum.wav"));
    lay_strings_free(&written);
    const char *all[] = {"report/notes.txt",
                         "report/run-01-spectrum.wav",
                         "report/report.txt",
                         "report/report.json",
                         "report/lines.csv",
                         "report/report.html",
                         "report"};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) drop(all[i]);
    free(where);
    fixture_free(&f);
}

static void test_folder_is_a_file(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    char *where = inside("file/report");
    fixture_make(&f);
    put("file", "in the way");
    assert_int_equal(
        lay_report_write(f.unit, &f.table, &f.diagnosis, &(lay_report_options){.folder = where}, NULL, NULL, &err),
        LAY_IO);
    assert_non_null(strstr(err.message, "a file has that name"));
    drop("file");
    free(where);
    fixture_free(&f);
}

/* Without gnuplot the texts are there all the same, and the reason is told. */
static void test_no_gnuplot(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0}, plot = {0};
    const char *path = getenv("PATH");
    char *before = lay_strdup(path != NULL ? path : "");
    char *where = inside("bare");
    fixture_make(&f);
    setenv("PATH", "/nonexistent", 1);
    assert_int_equal(lay_report_write(f.unit, &f.table, &f.diagnosis,
                                      &(lay_report_options){.folder = where, .plots = true}, NULL, &plot, &err),
                     LAY_OK);
    setenv("PATH", before, 1);
    assert_int_equal(plot.code, LAY_IO);
    assert_non_null(strstr(plot.message, "not installed"));
    assert_true(exists("bare/report.txt") && !exists("bare/run-01-spectrum.png"));
    drop("bare/report.txt");
    drop("bare/report.json");
    drop("bare/lines.csv");
    drop("bare/report.html");
    drop("bare");
    free(before);
    free(where);
    fixture_free(&f);
}

/* Where gnuplot is missing, or cannot open windows, --show says what to install. */
static void test_no_window(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    const char *path = getenv("PATH");
    char *before = lay_strdup(path != NULL ? path : "");
    fixture_make(&f);
    setenv("PATH", "/nonexistent", 1);
    assert_int_equal(lay_report_show(f.unit, &f.table, &f.diagnosis, &err), LAY_IO);
    setenv("PATH", before, 1);
    assert_non_null(strstr(err.message, "could not open a window"));
    free(before);
    fixture_free(&f);
}

static int set_up(void **state) {
    (void)state;
    signal(SIGPIPE, SIG_IGN);
    return mkdtemp(folder) == NULL;
}

static int tear_down(void **state) {
    (void)state;
    return rmdir(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_write), cmocka_unit_test(test_folder_is_a_file),
                                       cmocka_unit_test(test_no_gnuplot), cmocka_unit_test(test_no_window)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
