/* A report that was written is read back: who was named and how, what was said of a part. */
#include <layshaft/report.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"

#include <math.h>
#include <string.h>

static lay_told tell(const char *path, const char *part, bool outside) {
    lay_told told;
    lay_error err = {0};
    if (lay_report_tell(path, part, outside, &told, &err) != LAY_OK) fail_msg("%s", err.message);
    return told;
}

static void test_tells(void **state) {
    (void)state;
    fixture f;
    lay_text json = {0};
    char *twin[] = {BORROWED("pilot")};
    lay_part_finding parts[] = {{"spare pair", LAY_PART_MESH, 0.01, LAY_STATE_CLEARED, BORROWED("quiet")}};
    fixture_make(&f);
    f.suspects[0].not_separable_from = (lay_strings){twin, 1, 1};
    f.suspects[2].part = NULL; /* a source outside that nobody knows */
    f.suspects[2].kind = LAY_KIND_OUTSIDE;
    f.diagnosis.verdict.parts = parts;
    f.diagnosis.verdict.part_count = 1;
    assert_int_equal(lay_report_json(f.unit, &f.table, &f.diagnosis, true, &json), LAY_OK);
    const char *path = scratch_file("report.json", json.text, json.length);
    lay_told told = tell(path, "Third Pair", false);
    assert_string_equal(told.outcome, "attention");
    assert_int_equal(told.named, LAY_NAMED_FIRST);
    assert_close(told.probability, f.suspects[0].probability, 1e-4, 0);
    assert_int_equal(tell(path, "pilot", false).named, LAY_NAMED_TWIN);
    assert_int_equal(tell(path, f.suspects[1].part, false).named, LAY_NAMED_LISTED);
    told = tell(path, "spare pair", false);
    assert_int_equal(told.named, LAY_NAMED_NO);
    assert_true(isnan(told.probability));
    assert_string_equal(told.state, "cleared");
    assert_int_equal(tell(path, "wheel bearing", true).named, LAY_NAMED_LISTED);
    assert_int_equal(tell(path, "wheel bearing", false).named, LAY_NAMED_NO);
    assert_int_equal(tell(path, NULL, false).named, LAY_NAMED_NO);
    f.diagnosis.verdict.parts = NULL;
    f.diagnosis.verdict.part_count = 0;
    f.suspects[0].not_separable_from = (lay_strings){0};
    lay_text_free(&json);
    fixture_free(&f);
}

static void test_asked(void **state) {
    (void)state;
    lay_strings asked;
    lay_error err = {0};
    const char *path =
        scratch_text("asked.json", "{\"verdict\":{\"outcome\":\"inconclusive\",\"add\":[\"one\",\"two\"]}}");
    assert_int_equal(lay_report_asked(path, &asked, &err), LAY_OK);
    assert_int_equal(asked.count, 2);
    assert_string_equal(asked.items[1], "two");
    lay_strings_free(&asked);
    path = scratch_text("asked.json", "{\"verdict\":{\"outcome\":\"clear\",\"add\":[]}}");
    assert_int_equal(lay_report_asked(path, &asked, &err), LAY_OK);
    assert_int_equal(asked.count, 0);
    path = scratch_text("asked.json", "[1]");
    assert_int_equal(lay_report_asked(path, &asked, &err), LAY_BAD_INPUT);
    assert_int_equal(asked.count, 0);
}

/* The plan of a job whose verdict asks for something says so first, on the terminal, in JSON and on paper. */
static void test_plan_says_what_is_asked(void **state) {
    (void)state;
    fixture f;
    lay_plan plan = {0};
    lay_text text = {0}, json = {0}, sheet = {0};
    lay_error err = {0};
    char *items[] = {BORROWED("gear 3 on coast <b>")};
    const lay_strings asked = {items, 1, 1};
    fixture_make(&f);
    assert_int_equal(lay_plan_make(f.unit, NULL, -1, &plan, &err), LAY_OK);
    assert_int_equal(lay_report_plan_text(f.unit, &plan, &asked, false, 80, &text), LAY_OK);
    assert_ptr_equal(strstr(text.text, "The verdict on this job asks for one recording more:"), text.text);
    assert_int_equal(lay_report_plan_json(f.unit, &plan, &asked, false, &json), LAY_OK);
    assert_non_null(strstr(json.text, "\"asked\": [\"gear 3 on coast <b>\"]"));
    assert_int_equal(lay_report_plan_sheet(f.unit, &plan, &asked, -1, &sheet, &err), LAY_OK);
    assert_non_null(strstr(sheet.text, "<li>gear 3 on coast &lt;b&gt;</li>"));
    assert_non_null(strstr(sheet.text, "class=\"tick\""));
    assert_non_null(strstr(sheet.text, "<svg "));
    lay_text_free(&text);
    lay_text_free(&json);
    lay_text_free(&sheet);
    lay_plan_free(&plan);
    fixture_free(&f);
}

static void test_no_report(void **state) {
    (void)state;
    static const char *const texts[] = {"", "{", "[]", "{\"verdict\":3}", "{\"verdict\":{\"outcome\":null}}"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        lay_told told;
        lay_error err = {0};
        const char *path = scratch_text("odd.json", texts[i]);
        assert_int_equal(lay_report_tell(path, "a", false, &told, &err), LAY_BAD_INPUT);
        assert_non_null(strstr(err.message, "no report of a diagnosis"));
    }
    lay_told told;
    lay_error err = {0};
    assert_int_equal(lay_report_tell(scratch_path("none.json"), "a", false, &told, &err), LAY_BAD_INPUT);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_tells), cmocka_unit_test(test_asked),
                                       cmocka_unit_test(test_plan_says_what_is_asked),
                                       cmocka_unit_test(test_no_report)};
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
