#include "unit_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void fail_with(const lay_error *err) {
    char text[2048];
    lay_error_format(err, text, sizeof text);
    fail_msg("%s", text);
}

lay_unit *unit_of(const char *text) {
    lay_unit *unit = NULL;
    lay_error err = {0};
    if (lay_unit_parse(text, strlen(text), "test.ini", &unit, &err) != LAY_OK) fail_with(&err);
    return unit;
}

lay_kinematics gear_of(const lay_unit *unit, const char *gear) {
    lay_kinematics k = {0};
    lay_error err = {0};
    int index = lay_unit_gear(unit, gear);
    assert_true(index >= 0);
    if (lay_unit_solve(unit, index, &k, &err) != LAY_OK) fail_with(&err);
    return k;
}

double speed_of(const lay_unit *unit, const lay_kinematics *k, const char *body) {
    int index = lay_unit_body(unit, body);
    assert_true(index >= 0);
    return k->speed[index].value;
}

lay_expected part_of(const lay_unit *unit, const lay_kinematics *k, lay_part_type type, const char *name) {
    lay_expected *all = NULL, found = {0};
    size_t count = 0;
    lay_error err = {0};
    bool any = false;
    if (lay_unit_expect(unit, k, &all, &count, &err) != LAY_OK) fail_with(&err);
    for (size_t i = 0; i < count; i++)
        if (all[i].type == type && strcmp(all[i].name, name) == 0) {
            found = all[i];
            any = true;
        }
    free(all);
    if (!any) fail_msg("no part called '%s'", name);
    return found;
}
