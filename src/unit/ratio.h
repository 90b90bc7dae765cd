/* Exact fractions for the speeds of a gear train: tooth counts are whole numbers, so speeds are fractions,
 * and a standing wheel is exactly 0 rather than 1e-17. Private to the unit stage. */
#ifndef LAYSHAFT_UNIT_RATIO_H
#define LAYSHAFT_UNIT_RATIO_H

#include <stdbool.h>
#include <stdint.h>

struct unit_ratio {
    int64_t num, den; /* lowest terms, den > 0 */
};

int64_t unit_gcd(int64_t a, int64_t b); /* >= 0 */

/* Each returns false, leaving *out alone, when the result does not fit 64 bits. */
bool unit_ratio_divide(struct unit_ratio a, struct unit_ratio b, struct unit_ratio *out); /* b != 0 */
bool unit_ratio_minus_product(struct unit_ratio a, struct unit_ratio b, struct unit_ratio c,
                              struct unit_ratio *out); /* a - b c */

#endif
