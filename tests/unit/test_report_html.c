/* The page of a diagnosis made by hand: what must be said is said, what a name holds is shown, nothing is promised that
 * is not there. The page in a browser: tests/reference/report_vs_browser.py. */
#include "report/html.h"

#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <stdlib.h>
#include <string.h>

static lay_text page_of(const fixture *f, const char *job) {
    lay_text out = {0};
    lay_error err = {0};
    lay_report_view view = {f->unit, &f->table, &f->diagnosis};
    lay_report_options options = {.folder = "/nonexistent", .job = job, .date = "2026-11-27 17:00"};
    lay_clips clips[LAY_HTML_SUSPECTS] = {{0}};
    lay_strings none = {0};
    assert_int_equal(lay_html_write(&view, &options, &none, clips, &out, &err), LAY_OK);
    return out;
}

static void expect(const lay_text *page, const char *text) {
    if (strstr(page->text, text) == NULL) fail_msg("the page does not say: %s", text);
}

static void expect_not(const lay_text *page, const char *text) {
    if (strstr(page->text, text) != NULL) fail_msg("the page says: %s", text);
}

static void test_says(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    lay_text page = page_of(&f, "bench 7");
    expect(&page, "<!DOCTYPE html>");
    expect(&page, "Bench five-speed");
    expect(&page, "job bench 7");
    expect(&page, "2026-11-27 17:00");
    expect(&page, "ATTENTION");
    expect(&page, "What to look at");
    expect(&page, "Inspection sheet");
    expect(&page, "<svg ");
    expect(&page, "Run 1: ");
    expect(&page, "Run 2: ");
    expect(&page, "never a certificate");
    expect_not(&page, "<img");
    expect_not(&page, "<audio");
    expect_not(&page, "<script");
    lay_text_free(&page);
    fixture_free(&f);
}

/* Whatever the files of a job hold is shown as it is. */
static void test_names_do_not_act(void **state) {
    (void)state;
    static const char evil[] = "</title><script>alert(1)</script><img src=x onerror='y'>\"";
    fixture f;
    fixture_make(&f);
    f.suspects[0].part = BORROWED(evil);
    f.suspects[1].body = BORROWED(evil);
    f.specs[0].file = BORROWED(evil);
    f.specs[0].notes = BORROWED(evil);
    f.diagnosis.verdict.summary = BORROWED(evil);
    lay_text page = page_of(&f, evil);
    expect_not(&page, "<script");
    expect_not(&page, "<img");
    expect(&page, "&lt;script&gt;alert(1)");
    lay_text_free(&page);
    fixture_free(&f);
}

/* A clear verdict points at nothing and asks for nothing to be opened. */
static void test_clear(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    f.diagnosis.verdict.outcome = LAY_CLEAR;
    lay_text page = page_of(&f, NULL);
    expect(&page, "class=\"clear\"");
    expect(&page, "there is no part to open the unit for");
    expect_not(&page, "What to look at");
    expect_not(&page, "<circle");
    expect_not(&page, "Rule of the trade");
    lay_text_free(&page);
    fixture_free(&f);
}

static void test_parts(void **state) {
    (void)state;
    lay_part_finding parts[] = {
        {"headset", LAY_PART_MESH, 0.01, LAY_STATE_CLEARED, BORROWED("quiet in 3 recordings")},
        {"third pair", LAY_PART_MESH, 0.94, LAY_STATE_SUSPECT, BORROWED("named above")},
        {"countershaft front", LAY_PART_BEARING, 0.01, LAY_STATE_UNTESTED, BORROWED("a microphone")}};
    fixture f;
    fixture_make(&f);
    f.diagnosis.verdict.parts = parts;
    f.diagnosis.verdict.part_count = 3;
    lay_text page = page_of(&f, NULL);
    expect(&page, "<b>Nothing against:</b> headset</p>");
    expect(&page, "<b>Not tested:</b> bearing countershaft front</p>");
    expect(&page, "<li>headset: quiet in 3 recordings</li>");
    expect(&page, "<li>bearing countershaft front: a microphone</li>");
    expect_not(&page, "<b>Open:</b>");
    lay_text_free(&page);
    f.diagnosis.verdict.parts = NULL;
    f.diagnosis.verdict.part_count = 0;
    fixture_free(&f);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_says), cmocka_unit_test(test_names_do_not_act),
                                       cmocka_unit_test(test_clear), cmocka_unit_test(test_parts)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
