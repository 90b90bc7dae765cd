#include "close.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static bool is_close(double actual, double expected, double allowed) {
    if (isnan(actual) || isnan(expected)) return false;
    if (isinf(actual) || isinf(expected))
        return isinf(actual) && isinf(expected) && signbit(actual) == signbit(expected);
    return fabs(actual - expected) <= allowed;
}

void assert_close_at(double actual, double expected, double abs_tol, double rel_tol, const char *what, const char *file,
                     int line) {
    double allowed = abs_tol + rel_tol * fabs(expected);
    if (is_close(actual, expected, allowed)) return;
    print_error("%s:%d: %s is %.17g, expected %.17g: off by %.3g, allowed %.3g\n", file, line, what, actual, expected,
                actual - expected, allowed);
    _fail(file, line);
}
