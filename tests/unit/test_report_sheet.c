/* The inspection sheet: every kind of fault has its checks, each with something to tick and a rule. */
#include "report/sheet.h"

#include "support/cmocka_all.h"

#include <string.h>

static void test_every_kind(void **state) {
    (void)state;
    for (int kind = 0; kind < LAY_KIND_COUNT; kind++) {
        int rows = 0;
        for (const lay_sheet_row *r = lay_sheet_next((lay_kind)kind, NULL); r; r = lay_sheet_next((lay_kind)kind, r)) {
            assert_true(strlen(r->check) > 5 && strlen(r->rule) > 20);
            assert_non_null(strchr(r->boxes, '|'));
            assert_null(strpbrk(r->boxes, "<>&\"'")); /* written as they are */
            rows++;
        }
        if (rows < 2) fail_msg("%d checks for %s", rows, lay_kind_name((lay_kind)kind));
    }
}

/* Bearings are not asked for teeth, nor teeth for races. */
static void test_apart(void **state) {
    (void)state;
    for (const lay_sheet_row *r = lay_sheet_next(LAY_KIND_OUTER, NULL); r; r = lay_sheet_next(LAY_KIND_OUTER, r))
        assert_null(strstr(r->check, "teeth"));
    for (const lay_sheet_row *r = lay_sheet_next(LAY_KIND_MESH, NULL); r; r = lay_sheet_next(LAY_KIND_MESH, r))
        assert_null(strstr(r->check, "race"));
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_every_kind), cmocka_unit_test(test_apart)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
