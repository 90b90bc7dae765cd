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
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_tells), cmocka_unit_test(test_no_report)};
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
