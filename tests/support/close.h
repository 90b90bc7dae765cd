/* Comparing doubles in tests. */
#ifndef TESTS_SUPPORT_CLOSE_H
#define TESTS_SUPPORT_CLOSE_H

/* Passes when |actual - expected| <= abs_tol + rel_tol * |expected|. A NaN on either side fails; equal
 * infinities pass. On failure both numbers, their difference and the place are printed. */
#define assert_close(actual, expected, abs_tol, rel_tol)                                                               \
    assert_close_at((actual), (expected), (abs_tol), (rel_tol), #actual, __FILE__, __LINE__)

void assert_close_at(double actual, double expected, double abs_tol, double rel_tol, const char *what, const char *file,
                     int line);

#endif
