/* The table of lines: as many rows as lines, cells of text quoted as RFC 4180 asks. */
#include "report/lines_csv.h"

#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <string.h>

static int count(const char *text, const char *what) {
    int n = 0;
    for (const char *at = text; (at = strstr(at, what)) != NULL; at += strlen(what)) n++;
    return n;
}

static void test_lines(void **state) {
    (void)state;
    fixture f;
    lay_text out = {0};
    fixture_make(&f);
    f.specs[0].file = BORROWED("a \"b\", c.wav");
    lay_lines_csv(&(lay_report_view){f.unit, &f.table, &f.diagnosis}, &out);
    assert_false(out.failed);
    assert_int_equal(count(out.text, "\r\n"), FIXTURE_LINES + 1);
    assert_int_equal(count(out.text, "1,\"a \"\"b\"\", c.wav\",3,drive,"), FIXTURE_LINES);
    assert_non_null(strstr(out.text, ",17.2500,606.74,71.20,1 um/s2,29.20,14.20,mesh,third pair,1,0,,0.9700\r\n"));
    assert_non_null(strstr(out.text, ",mesh,third pair,1,-1,third gear,0.9700\r\n"));
    assert_non_null(strstr(out.text, ",unknown,,0,0,,\r\n")); /* nobody makes it: no probability either */
    lay_text_free(&out);
    fixture_free(&f);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_lines)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
