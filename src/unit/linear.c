/* Gauss-Jordan reduction in fractions, with a double-precision twin that reveals the rank by complete pivoting. */
#include "linear.h"

#include <math.h>
#include <stdlib.h>

/* Rows are scaled to a largest coefficient of 1, so what elimination leaves below this is rounding: tooth
 * ratios of a real train keep pivots above 1e-3 each, doubles carry 1e-16. */
#define RANK_TOLERANCE 1e-9

lay_status unit_linear_create(struct unit_linear *l, size_t rows, size_t unknowns, lay_error *err) {
    *l = (struct unit_linear){.rows = rows, .unknowns = unknowns};
    size_t cells = rows * (unknowns + 1);
    l->given = lay_calloc(cells, sizeof *l->given);
    l->exact = lay_calloc(cells, sizeof *l->exact);
    l->approx = lay_calloc(cells, sizeof *l->approx);
    l->pivot = lay_calloc(unknowns, sizeof *l->pivot);
    if (l->given && l->exact && l->approx && l->pivot) return LAY_OK;
    unit_linear_free(l);
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory to solve the gear train");
}

void unit_linear_free(struct unit_linear *l) {
    free(l->given);
    free(l->exact);
    free(l->approx);
    free(l->pivot);
    *l = (struct unit_linear){0};
}

static size_t cell(const struct unit_linear *l, size_t row, size_t column) {
    return row * (l->unknowns + 1) + column;
}

void unit_linear_add(struct unit_linear *l, size_t row, size_t column, int64_t value) {
    l->given[cell(l, row, column)] += value;
}

static void forget_pivots(struct unit_linear *l) {
    l->rank = 0;
    for (size_t c = 0; c < l->unknowns; c++) l->pivot[c] = UNIT_NO_PIVOT;
}

static void swap_exact(struct unit_linear *l, size_t a, size_t b) {
    for (size_t c = 0; a != b && c <= l->unknowns; c++) {
        struct unit_ratio keep = l->exact[cell(l, a, c)];
        l->exact[cell(l, a, c)] = l->exact[cell(l, b, c)];
        l->exact[cell(l, b, c)] = keep;
    }
}

/* The unused row whose coefficient is simplest: it keeps the fractions small. */
static size_t simplest_row(const struct unit_linear *l, size_t column) {
    size_t best = UNIT_NO_PIVOT;
    double least = INFINITY;
    for (size_t r = l->rank; r < l->rows; r++) {
        struct unit_ratio q = l->exact[cell(l, r, column)];
        double size = fabs((double)q.num) + (double)q.den;
        if (q.num != 0 && size < least) {
            least = size;
            best = r;
        }
    }
    return best;
}

/* row -= factor * source, for every column where the source is not 0. */
static bool subtract_exact(struct unit_linear *l, size_t row, size_t source, struct unit_ratio factor) {
    for (size_t c = 0; c <= l->unknowns; c++) {
        struct unit_ratio s = l->exact[cell(l, source, c)], *q = &l->exact[cell(l, row, c)];
        if (s.num != 0 && !unit_ratio_minus_product(*q, factor, s, q)) return false;
    }
    return true;
}

static bool eliminate_exact(struct unit_linear *l, size_t column) {
    struct unit_ratio head = l->exact[cell(l, l->rank, column)];
    for (size_t c = 0; c <= l->unknowns; c++) {
        struct unit_ratio *q = &l->exact[cell(l, l->rank, c)];
        if (q->num != 0 && !unit_ratio_divide(*q, head, q)) return false;
    }
    for (size_t r = 0; r < l->rows; r++) {
        struct unit_ratio factor = l->exact[cell(l, r, column)];
        if (r != l->rank && factor.num != 0 && !subtract_exact(l, r, l->rank, factor)) return false;
    }
    return true;
}

/* False when a fraction outgrew 64 bits. */
static bool reduce_exact(struct unit_linear *l) {
    forget_pivots(l);
    for (size_t i = 0; i < l->rows * (l->unknowns + 1); i++)
        l->exact[i] = (struct unit_ratio){.num = l->given[i], .den = 1};
    for (size_t c = 0; c < l->unknowns; c++) {
        size_t row = simplest_row(l, c);
        if (row == UNIT_NO_PIVOT) continue;
        swap_exact(l, row, l->rank);
        if (!eliminate_exact(l, c)) return false;
        l->pivot[c] = l->rank++;
    }
    return true;
}

static void scale_rows(struct unit_linear *l) {
    for (size_t r = 0; r < l->rows; r++) {
        double largest = 0;
        for (size_t c = 0; c < l->unknowns; c++) largest = fmax(largest, fabs((double)l->given[cell(l, r, c)]));
        for (size_t c = 0; c <= l->unknowns; c++)
            l->approx[cell(l, r, c)] = (double)l->given[cell(l, r, c)] / (largest > 0 ? largest : 1);
    }
}

/* The largest coefficient in the unused rows; false when what is left is rounding. */
static bool largest_cell(const struct unit_linear *l, size_t *row, size_t *column) {
    double largest = RANK_TOLERANCE;
    bool found = false;
    for (size_t r = l->rank; r < l->rows; r++)
        for (size_t c = 0; c < l->unknowns; c++) {
            double size = fabs(l->approx[cell(l, r, c)]);
            if (l->pivot[c] != UNIT_NO_PIVOT || !(size > largest)) continue;
            largest = size;
            *row = r;
            *column = c;
            found = true;
        }
    return found;
}

static void eliminate_approx(struct unit_linear *l, size_t row, size_t column) {
    double head = l->approx[cell(l, row, column)];
    for (size_t c = 0; c <= l->unknowns; c++) {
        double keep = l->approx[cell(l, row, c)];
        l->approx[cell(l, row, c)] = l->approx[cell(l, l->rank, c)];
        l->approx[cell(l, l->rank, c)] = keep / head;
    }
    for (size_t r = 0; r < l->rows; r++) {
        double factor = l->approx[cell(l, r, column)];
        if (r == l->rank || factor == 0) continue;
        for (size_t c = 0; c <= l->unknowns; c++) l->approx[cell(l, r, c)] -= factor * l->approx[cell(l, l->rank, c)];
        l->approx[cell(l, r, column)] = 0;
    }
}

static void reduce_approx(struct unit_linear *l) {
    forget_pivots(l);
    scale_rows(l);
    size_t row = 0, column = 0;
    while (largest_cell(l, &row, &column)) {
        eliminate_approx(l, row, column);
        l->pivot[column] = l->rank++;
    }
}

void unit_linear_reduce(struct unit_linear *l, bool allow_exact) {
    l->is_exact = allow_exact && reduce_exact(l);
    if (!l->is_exact) reduce_approx(l);
}

static double reduced(const struct unit_linear *l, size_t row, size_t column) {
    if (l->is_exact) {
        struct unit_ratio q = l->exact[cell(l, row, column)];
        return (double)q.num / (double)q.den;
    }
    double v = l->approx[cell(l, row, column)];
    return fabs(v) > RANK_TOLERANCE ? v : 0;
}

bool unit_linear_consistent(const struct unit_linear *l) {
    for (size_t r = l->rank; r < l->rows; r++)
        if (reduced(l, r, l->unknowns) != 0) return false;
    return true;
}

bool unit_linear_determined(const struct unit_linear *l, size_t unknown) {
    if (l->pivot[unknown] == UNIT_NO_PIVOT) return false;
    for (size_t c = 0; c < l->unknowns; c++)
        if (l->pivot[c] == UNIT_NO_PIVOT && reduced(l, l->pivot[unknown], c) != 0) return false;
    return true;
}

lay_fraction unit_linear_value(const struct unit_linear *l, size_t unknown) {
    size_t row = l->pivot[unknown];
    if (row == UNIT_NO_PIVOT) return (lay_fraction){.num = 0, .den = 1, .exact = l->is_exact};
    if (!l->is_exact) return (lay_fraction){.den = 1, .value = reduced(l, row, l->unknowns)};
    struct unit_ratio q = l->exact[cell(l, row, l->unknowns)];
    return (lay_fraction){.num = q.num, .den = q.den, .value = (double)q.num / (double)q.den, .exact = true};
}

double unit_linear_slope(const struct unit_linear *l, size_t unknown, size_t free_unknown) {
    if (unknown == free_unknown) return 1;
    if (l->pivot[unknown] == UNIT_NO_PIVOT) return 0;
    return -reduced(l, l->pivot[unknown], free_unknown);
}
