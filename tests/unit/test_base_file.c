#include <layshaft/base.h>
#include <support/cmocka_all.h>

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/layshaft-file-XXXXXX";
static char path[64];

static int make_folder(void **state) {
    (void)state;
    if (!mkdtemp(folder)) return -1;
    snprintf(path, sizeof path, "%s/a.txt", folder);
    return 0;
}

static int drop_folder(void **state) {
    (void)state;
    unlink(path);
    return rmdir(folder);
}

static int entries(void) {
    int count = 0;
    DIR *d = opendir(folder);
    while (d && readdir(d)) count++;
    if (d) closedir(d);
    return count - 2;
}

static void what_is_written_is_read(void **state) {
    (void)state;
    lay_error err;
    char data[100000];
    for (size_t i = 0; i < sizeof data; i++) data[i] = (char)(i * 7);
    assert_int_equal(lay_write_file(path, data, sizeof data, &err), LAY_OK);
    char *back = NULL;
    size_t length = 0;
    assert_int_equal(lay_read_file(path, sizeof data, &back, &length, &err), LAY_OK);
    assert_int_equal(length, sizeof data);
    assert_memory_equal(back, data, sizeof data);
    assert_int_equal(back[length], 0);
    free(back);
    assert_int_equal(entries(), 1); /* no temporary neighbour is left */
}

static void a_file_over_the_limit_is_refused(void **state) {
    (void)state;
    lay_error err;
    char *back = (char *)1;
    size_t length = 9;
    assert_int_equal(lay_write_file(path, "12345", 5, &err), LAY_OK);
    assert_int_equal(lay_read_file(path, 4, &back, &length, &err), LAY_BAD_INPUT);
    assert_null(back);
    assert_int_equal(length, 0);
    assert_non_null(strstr(err.message, "4 bytes"));
    assert_int_equal(lay_read_file("/dev/zero", 1 << 20, &back, &length, &err), LAY_BAD_INPUT);
}

static void missing_files_and_folders_are_told(void **state) {
    (void)state;
    lay_error err;
    char *back = NULL;
    size_t length;
    assert_int_equal(lay_read_file("/nowhere/at all", 10, &back, &length, &err), LAY_BAD_INPUT);
    assert_string_equal(err.file, "/nowhere/at all");
    assert_int_equal(lay_read_file(folder, 10, &back, &length, &err), LAY_IO);
    assert_int_equal(lay_write_file("/nowhere/at all", "x", 1, &err), LAY_IO);
    assert_int_equal(lay_write_file(folder, "x", 1, &err), LAY_IO);
    assert_int_equal(lay_write_file("/dev/null", "x", 1, &err), LAY_OK);
    struct stat st;
    assert_true(stat("/dev/null", &st) == 0 && S_ISCHR(st.st_mode)); /* written to, not replaced */
}

static void a_failed_write_leaves_nothing_behind(void **state) {
    (void)state;
    lay_error err;
    char inner[96];
    snprintf(inner, sizeof inner, "%s/sub", folder);
    int before = entries();
    assert_int_equal(mkdir(inner, 0700), 0);
    assert_int_equal(lay_write_file(inner, "x", 1, &err), LAY_IO); /* a folder cannot be replaced by a file */
    assert_string_equal(err.file, inner);
    assert_int_equal(rmdir(inner), 0);
    assert_int_equal(entries(), before);
}

static void a_full_disk_is_told(void **state) {
    (void)state;
    lay_error err;
    assert_int_equal(lay_write_file("/dev/full", "x", 1, &err), LAY_IO);
}

static void rights_survive_rewriting(void **state) {
    (void)state;
    struct stat st;
    assert_int_equal(lay_write_file(path, "1", 1, NULL), LAY_OK);
    assert_int_equal(chmod(path, 0600), 0);
    assert_int_equal(lay_write_file(path, "2", 1, NULL), LAY_OK);
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
}

static void assert_joined(const char *a, const char *b, const char *expected) {
    char *joined = lay_path_join(a, b);
    assert_string_equal(joined, expected);
    free(joined);
}

static void paths_are_joined(void **state) {
    (void)state;
    assert_joined("job", "runs.csv", "job/runs.csv");
    assert_joined("job/", "runs.csv", "job/runs.csv");
    assert_joined("job", "/abs", "/abs");
    assert_joined("", "x", "x");
    assert_joined("/", "x", "/x");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_written_is_read),
        cmocka_unit_test(a_file_over_the_limit_is_refused),
        cmocka_unit_test(missing_files_and_folders_are_told),
        cmocka_unit_test(a_full_disk_is_told),
        cmocka_unit_test(a_failed_write_leaves_nothing_behind),
        cmocka_unit_test(rights_survive_rewriting),
        cmocka_unit_test(paths_are_joined),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
