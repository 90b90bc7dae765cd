/* Small linear systems with whole-number coefficients, solved exactly where 64-bit fractions reach and in
 * double precision otherwise. They may have too few equations or contradict themselves: both are told.
 * Private to the unit stage. */
#ifndef LAYSHAFT_UNIT_LINEAR_H
#define LAYSHAFT_UNIT_LINEAR_H

#include <layshaft/unit.h>

#include "ratio.h"

#define UNIT_NO_PIVOT ((size_t)-1)

struct unit_linear {
    size_t rows, unknowns;
    int64_t *given;           /* [rows][unknowns + 1], the right side last */
    struct unit_ratio *exact; /* reduced, while is_exact */
    double *approx;           /* reduced, otherwise */
    size_t *pivot;            /* [unknowns]: the row that gives it, or UNIT_NO_PIVOT: free */
    size_t rank;
    bool is_exact;
};

lay_status unit_linear_create(struct unit_linear *l, size_t rows, size_t unknowns, lay_error *err);
void unit_linear_free(struct unit_linear *l);
/* Add to a coefficient; column `unknowns` is the right side. */
void unit_linear_add(struct unit_linear *l, size_t row, size_t column, int64_t value);
/* Reduce (Gauss-Jordan). `allow_exact` false goes straight to double precision: for tests of the fallback. */
void unit_linear_reduce(struct unit_linear *l, bool allow_exact);

/* After the reduction: */
bool unit_linear_consistent(const struct unit_linear *l);
bool unit_linear_determined(const struct unit_linear *l, size_t unknown);
/* Its value with every free unknown set to 0. */
lay_fraction unit_linear_value(const struct unit_linear *l, size_t unknown);
/* d(unknown)/d(free unknown) along the solutions. */
double unit_linear_slope(const struct unit_linear *l, size_t unknown, size_t free_unknown);

#endif
