/* A row added to the table of runs: everything before stays as it is, whatever the table looks like. */
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const lay_run_entry usual[] = {
    {"file", "third, hot.wav"}, {"gear", "3"}, {"load", "drive"}, {"note", "a \"b\""}};
#define USUAL (sizeof usual / sizeof usual[0])

/* The table after the row was added to `before` (NULL: no table). */
static const char *added(const char *before, const lay_run_entry *cells, size_t count) {
    static char *text;
    size_t length;
    lay_error err = {0};
    char *path = lay_strdup(scratch_path("runs.csv"));
    if (before)
        scratch_text("runs.csv", before);
    else
        unlink(path);
    if (lay_run_table_add(path, cells, count, &err) != LAY_OK) fail_msg("%s", err.message);
    free(text);
    assert_int_equal(lay_read_file(path, 10000, &text, &length, &err), LAY_OK);
    free(path);
    return text;
}

static void tables_of_all_looks(void **state) {
    (void)state;
    static const struct {
        const char *before, *after;
    } cases[] = {
        {NULL, "file,gear,load,note\n\"third, hot.wav\",3,drive,\"a \"\"b\"\"\"\n"},
        {"", "file,gear,load,note\n\"third, hot.wav\",3,drive,\"a \"\"b\"\"\"\n"},
        {"# first road test", "# first road test\nfile,gear,load,note\n\"third, hot.wav\",3,drive,\"a \"\"b\"\"\"\n"},
        {"File,NOTE,Gear,load\n", "File,NOTE,Gear,load\n\"third, hot.wav\",\"a \"\"b\"\"\",3,drive\n"},
        {"file,weather\na.wav,dry",
         "file,weather,gear,load,note\na.wav,dry\n\"third, hot.wav\",,3,drive,\"a \"\"b\"\"\"\n"},
        {"\xEF\xBB\xBF# x\r\nfile;gear;load;note\r\na.wav;1\r\n",
         "\xEF\xBB\xBF# x\r\nfile;gear;load;note\r\na.wav;1\r\n\"third, hot.wav\";3;drive;\"a \"\"b\"\"\"\r\n"},
        {"file\n\"two\nlines.wav\"\n\n# end\n",
         "file,gear,load,note\n\"two\nlines.wav\"\n\n# end\n\"third, hot.wav\",3,drive,\"a \"\"b\"\"\"\n"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_string_equal(added(cases[i].before, usual, USUAL), cases[i].after);
}

static void what_is_added_is_read_again(void **state) {
    (void)state;
    static const lay_run_entry odd[] = {{"file", "#1; \"so\".wav"}, {"remark", " two\nlines "}, {"channel", "1+2"}};
    const char *text = added("gear\tfile\n2\ta.wav\n", odd, 3);
    lay_run_table table;
    lay_error err = {0};
    assert_int_equal(lay_run_table_parse(text, strlen(text), "runs.csv", &table, &err), LAY_OK);
    assert_int_equal(table.count, 2);
    assert_string_equal(table.runs[0].gear, "2");
    assert_string_equal(table.runs[1].file, "#1; \"so\".wav");
    assert_string_equal(table.runs[1].notes, "remark= two\nlines ");
    assert_int_equal(table.runs[1].channel_count, 2);
    lay_run_table_free(&table);
}

/* A table with an error, or a row that would be one, is left alone. */
static void nothing_is_written_when_something_is_wrong(void **state) {
    (void)state;
    static const char bad[] = "file,gear,rpm\na.wav,3,fast\n";
    static const lay_run_entry wrong[] = {{"file", "b.wav"}, {"load", "uphill"}};
    lay_error err = {0};
    char *path = lay_strdup(scratch_text("runs.csv", bad)), *text;
    size_t length;
    assert_int_equal(lay_run_table_add(path, usual, USUAL, &err), LAY_BAD_INPUT);
    assert_int_equal(err.line, 2);
    assert_int_equal(lay_read_file(path, 1000, &text, &length, &err), LAY_OK);
    assert_string_equal(text, bad);
    free(text);
    scratch_text("runs.csv", "file\na.wav\n");
    assert_int_equal(lay_run_table_add(path, wrong, 2, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "uphill"));
    assert_int_equal(lay_read_file(path, 1000, &text, &length, &err), LAY_OK);
    assert_string_equal(text, "file\na.wav\n");
    free(text);
    free(path);
    assert_int_equal(lay_run_table_add(scratch_path("no folder/runs.csv"), usual, USUAL, &err), LAY_IO);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tables_of_all_looks),
        cmocka_unit_test(what_is_added_is_read_again),
        cmocka_unit_test(nothing_is_written_when_something_is_wrong),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
