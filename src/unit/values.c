/* Single values of the unit file: counts, lengths, angles, yes and no. */
#include "parser.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct unit_entry *unit_find_entry(const struct unit_section *s, const char *key) {
    for (size_t i = 0; i < s->entry_count; i++)
        if (unit_slice_is(s->entries[i].key, key)) return &s->entries[i];
    return NULL;
}

static bool to_number(struct unit_slice s, double *out) {
    char text[64];
    if (s.length == 0 || s.length >= sizeof text) return false;
    memcpy(text, s.at, s.length);
    text[s.length] = 0;
    return lay_parse_number(text, out);
}

static lay_status not_a_number(struct unit_parser *p, struct unit_slice s, const char *what) {
    if (s.length == 0) return UNIT_FAIL(p, s, "the %s is missing: write a number", what);
    bool comma = memchr(s.at, ',', s.length) != NULL;
    return UNIT_FAIL(p, s, "%s: '%.*s' is not a number%s", what, UNIT_SLICE(s),
                     comma ? "; write decimals with a point, such as 9.5" : "");
}

lay_status unit_read_count(struct unit_parser *p, struct unit_slice s, const char *what, int least, int most,
                           int *out) {
    double value;
    if (!to_number(s, &value)) return not_a_number(p, s, what);
    if (value != floor(value)) return UNIT_FAIL(p, s, "%s: '%.*s' is not a whole number", what, UNIT_SLICE(s));
    if (value < least || value > most)
        return UNIT_FAIL(p, s, "%s: %.*s is not possible, give %d to %d", what, UNIT_SLICE(s), least, most);
    *out = (int)value;
    return LAY_OK;
}

lay_status unit_read_real(struct unit_parser *p, struct unit_slice s, const char *what, double above, double most,
                          double *out) {
    double value;
    if (!to_number(s, &value)) return not_a_number(p, s, what);
    if (!(value > above && value <= most))
        return UNIT_FAIL(p, s, "%s: %.*s is not possible, give more than %g and at most %g", what, UNIT_SLICE(s), above,
                         most);
    *out = value;
    return LAY_OK;
}

struct measure {
    const char *name;
    double factor;
};
static const struct measure lengths[] = {{"mm", 1}, {"in", 25.4}, {"inch", 25.4}, {"\"", 25.4}, {NULL, 0}};
static const struct measure angles[] = {{"deg", 1}, {"degrees", 1}, {"\xC2\xB0", 1}, {NULL, 0}};

/* Split "9.5 mm" into number and unit; without a unit the first of `table` is meant. */
static lay_status read_measure(struct unit_parser *p, struct unit_slice s, const char *what,
                               const struct measure *table, const char *choices, double *out) {
    size_t digits = 0;
    while (digits < s.length && strchr("0123456789.,+-", s.at[digits])) digits++;
    if (digits < s.length && digits > 0 && (s.at[digits] == 'e' || s.at[digits] == 'E')) {
        size_t after = digits + 1;
        while (after < s.length && strchr("0123456789+-", s.at[after])) after++;
        if (after > digits + 1) digits = after; /* an exponent: 1e2 mm */
    }
    struct unit_slice number = s, unit = s;
    number.length = digits;
    unit.at += digits;
    unit.length -= digits;
    number = unit_slice_trim(number);
    unit = unit_slice_trim(unit);
    if (digits == 0 || !to_number(number, out)) return not_a_number(p, digits == 0 ? s : number, what);
    if (unit.length == 0) return LAY_OK;
    for (const struct measure *m = table; m->name; m++)
        if (unit_slice_is(unit, m->name)) {
            *out *= m->factor;
            return LAY_OK;
        }
    return UNIT_FAIL(p, unit, "%s: the unit '%.*s' is not known here, use %s", what, UNIT_SLICE(unit), choices);
}

lay_status unit_read_length(struct unit_parser *p, struct unit_slice s, double *mm) {
    double value = 0;
    lay_status status = read_measure(p, s, "diameter", lengths, "mm or in", &value);
    if (status != LAY_OK) return status;
    if (!(value > 0 && value <= 5000)) return UNIT_FAIL(p, s, "a diameter is more than 0 and at most 5000 mm");
    *mm = value;
    return LAY_OK;
}

lay_status unit_read_circumference(struct unit_parser *p, struct unit_slice s, double *m) {
    static const struct measure table[] = {{"m", 1},         {"mm", 1e-3},   {"in", 0.0254},
                                           {"inch", 0.0254}, {"\"", 0.0254}, {NULL, 0}};
    double value = 0;
    lay_status status = read_measure(p, s, "rolling circumference", table, "m, mm or in", &value);
    if (status != LAY_OK) return status;
    if (!(value >= 0.5 && value <= 8))
        return UNIT_FAIL(p, s,
                         "rolling circumference: %.*s is not possible, give 0.5 to 8 m (a car's tyre rolls about 1.9 m "
                         "in one turn)",
                         UNIT_SLICE(s));
    *m = value;
    return LAY_OK;
}

lay_status unit_read_angle(struct unit_parser *p, struct unit_slice s, double *degrees) {
    double value = 0;
    lay_status status = read_measure(p, s, "contact angle", angles, "deg", &value);
    if (status != LAY_OK) return status;
    if (!(value >= 0 && value <= 80))
        return UNIT_FAIL(p, s,
                         "contact angle: %.*s is not possible, give 0 to 80 deg (deep-groove ball and "
                         "cylindrical roller bearings have 0)",
                         UNIT_SLICE(s));
    *degrees = value;
    return LAY_OK;
}

lay_status unit_read_flag(struct unit_parser *p, struct unit_slice s, bool *out) {
    static const struct {
        const char *word;
        bool value;
    } words[] = {{"yes", true}, {"no", false},  {"true", true}, {"false", false},
                 {"on", true},  {"off", false}, {"1", true},    {"0", false}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (unit_slice_is(s, words[i].word)) {
            *out = words[i].value;
            return LAY_OK;
        }
    return UNIT_FAIL(p, s, "'%.*s' is neither yes nor no", UNIT_SLICE(s));
}
