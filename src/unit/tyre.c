/* The size on a tyre's sidewall -> how far it rolls in one turn, and from that road speed -> speed of the reference.
 *
 * Size: section width in mm / height of the sidewall in per cent of it, rim diameter in inches (the metric system of
 * the tyre standards; common practice, no source read). The loaded tyre rolls about 3 % shorter than its free outline,
 * and wear, pressure and growth with speed move that by 2 or 3 % (common practice, no source). Example: 205/55 R16 is
 * 16 x 25.4 + 2 x 205 x 0.55 = 631.9 mm high, pi x 631.9 x 0.97 = 1.926 m. */
#include "parser.h"

#include <math.h>

#define ROLLS_SHORTER 0.97

static char upper(char c) {
    return c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
}

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

static void skip_blanks(struct unit_slice *s) {
    while (s->length > 0 && (s->at[0] == ' ' || s->at[0] == '\t')) s->at++, s->length--;
}

static bool take(struct unit_slice *s, char wanted) {
    skip_blanks(s);
    if (s->length == 0 || upper(s->at[0]) != wanted) return false;
    s->at++;
    s->length--;
    return true;
}

/* A number of at most three digits and one decimal; `where` becomes its place. */
static bool take_number(struct unit_slice *s, double *out, struct unit_slice *where) {
    skip_blanks(s);
    *where = *s;
    size_t n = 0;
    *out = 0;
    for (; n < s->length && n < 3 && is_digit(s->at[n]); n++) *out = *out * 10 + (s->at[n] - '0');
    if (n == 0) return false;
    if (n + 1 < s->length && s->at[n] == '.' && is_digit(s->at[n + 1])) {
        *out += 0.1 * (s->at[n + 1] - '0');
        n += 2;
    }
    where->length = n;
    s->at += n;
    s->length -= n;
    return s->length == 0 || !is_digit(s->at[0]);
}

/* "R", "ZR", "B", "D" or "-" between the sidewall and the rim. */
static bool take_build(struct unit_slice *s) {
    (void)take(s, 'Z');
    return take(s, 'R') || take(s, 'B') || take(s, 'D') || take(s, '-');
}

static lay_status not_a_size(struct unit_parser *p, struct unit_slice s) {
    return UNIT_FAIL(p, s,
                     "'%.*s' is not a tyre size: write it as on the sidewall, such as 205/55 R16, or give "
                     "'rolling circumference = 1.95 m'",
                     UNIT_SLICE(s));
}

/* What follows the rim - load index, speed letter, XL - is no part of the size, but it does not follow a number
 * directly without a letter or a blank. */
lay_status unit_read_tyre(struct unit_parser *p, struct unit_slice s, double *m) {
    struct unit_slice rest = s, width_at, side_at, rim_at;
    double width, side, rim;
    if (take(&rest, 'L') ? !take(&rest, 'T') : false) return not_a_size(p, s);
    (void)take(&rest, 'P');
    if (!take_number(&rest, &width, &width_at) || !take(&rest, '/') || !take_number(&rest, &side, &side_at) ||
        !take_build(&rest) || !take_number(&rest, &rim, &rim_at))
        return not_a_size(p, s);
    if (rest.length > 0 && (rest.at[0] == '.' || rest.at[0] == '/')) return not_a_size(p, s);
    if (!(width >= 100 && width <= 500))
        return UNIT_FAIL(p, width_at, "a tyre %.*s mm wide is not possible, give 100 to 500", UNIT_SLICE(width_at));
    if (!(side >= 20 && side <= 100))
        return UNIT_FAIL(p, side_at, "a sidewall of %.*s %% of the width is not possible, give 20 to 100",
                         UNIT_SLICE(side_at));
    if (!(rim >= 8 && rim <= 30))
        return UNIT_FAIL(p, rim_at, "a rim of %.*s inches is not possible, give 8 to 30", UNIT_SLICE(rim_at));
    *m = LAY_PI * (rim * 25.4 + 2 * width * side / 100) * ROLLS_SHORTER / 1000;
    return LAY_OK;
}

static double axle_turns(const lay_axle *a, const lay_kinematics *k) {
    return k->free_body[a->body] ? 0 : fabs(k->speed[a->body].value);
}

/* Cars gear down by 2 or more even in their highest gear (common practice, no source). */
bool unit_wheels_are_geared(const lay_unit *unit, const lay_kinematics *k) {
    const lay_axle *a = &unit->axle;
    return a->present || !(a->rolling_m > 0) || axle_turns(a, k) < 0.8;
}

double lay_unit_reference_hz(const lay_unit *unit, const lay_kinematics *k, double road_speed_ms) {
    const lay_axle *a = &unit->axle;
    if (!(a->rolling_m > 0) || a->body < 0 || !(road_speed_ms > 0) || !isfinite(road_speed_ms)) return 0;
    double turns = axle_turns(a, k);
    if (!(turns > 1e-9)) return 0;
    double final = a->present ? (double)a->ring / a->pinion : 1;
    return road_speed_ms / a->rolling_m * final / turns;
}
