/* Fractions in lowest terms; intermediate results take 128 bits. */
#include "ratio.h"

__extension__ typedef __int128 wide;

int64_t unit_gcd(int64_t a, int64_t b) {
    uint64_t x = a < 0 ? (uint64_t)0 - (uint64_t)a : (uint64_t)a, y = b < 0 ? (uint64_t)0 - (uint64_t)b : (uint64_t)b;
    while (y != 0) {
        uint64_t rest = x % y;
        x = y;
        y = rest;
    }
    return (int64_t)x;
}

static wide wide_gcd(wide a, wide b) {
    if (a < 0) a = -a;
    if (b < 0) b = -b;
    while (b != 0) {
        wide rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

static bool fits(wide v) {
    return v <= INT64_MAX && v >= -(wide)INT64_MAX; /* INT64_MIN left out: it cannot be negated */
}

static bool reduce(wide num, wide den, struct unit_ratio *out) {
    if (den != 1) {
        wide g = wide_gcd(num, den);
        if (den < 0) g = -g;
        num /= g;
        den /= g;
    }
    if (!fits(num) || !fits(den)) return false;
    *out = (struct unit_ratio){.num = (int64_t)num, .den = (int64_t)den};
    return true;
}

bool unit_ratio_divide(struct unit_ratio a, struct unit_ratio b, struct unit_ratio *out) {
    return reduce((wide)a.num * b.den, (wide)a.den * b.num, out);
}

bool unit_ratio_minus_product(struct unit_ratio a, struct unit_ratio b, struct unit_ratio c, struct unit_ratio *out) {
    struct unit_ratio p;
    if (!reduce((wide)b.num * c.num, (wide)b.den * c.den, &p)) return false;
    return reduce((wide)a.num * p.den - (wide)p.num * a.den, (wide)a.den * p.den, out);
}
