/* Any bytes as a unit file: read, solve every gear, write, read back. Build with clang
 * -fsanitize=fuzzer,address,undefined. */
#include <layshaft/unit.h>

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void use_gear(const lay_unit *unit, int gear) {
    lay_kinematics k;
    lay_expected *parts = NULL;
    size_t count = 0;
    if (lay_unit_solve(unit, gear, &k, NULL) != LAY_OK) abort(); /* the parser has solved it before */
    if (lay_unit_expect(unit, &k, &parts, &count, NULL) == LAY_OK)
        for (size_t i = 1; i < count; i++) {
            bool by_sidebands;
            (void)lay_expected_same(&parts[i - 1], &parts[i], 0.01, &by_sidebands);
        }
    free(parts);
    lay_kinematics_free(&k);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    lay_unit *unit = NULL, *again = NULL;
    lay_error err = {0};
    lay_text text = {0};
    if (lay_unit_parse((const char *)data, size, "fuzz.ini", &unit, &err) != LAY_OK) {
        char shown[2048];
        lay_error_format(&err, shown, sizeof shown);
        return 0;
    }
    for (size_t g = 0; g < unit->gear_count; g++) use_gear(unit, (int)g);
    lay_unit_write(unit, &text);
    if (lay_unit_parse(text.text, text.length, "written.ini", &again, &err) != LAY_OK) abort();
    lay_unit_free(again);
    lay_unit_free(unit);
    lay_text_free(&text);
    return 0;
}
