#include "diagnosis.h"
#include "unit_text.h"

lay_unit *fixture_unit;

int fixture_unit_make(void **state) {
    (void)state;
    fixture_unit = unit_of(fixture_unit_text);
    return 0;
}

int fixture_unit_free(void **state) {
    (void)state;
    lay_unit_free(fixture_unit);
    fixture_unit = NULL;
    return 0;
}
