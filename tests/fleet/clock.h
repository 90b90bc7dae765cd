/* Wall clock in seconds. */
#ifndef TESTS_FLEET_CLOCK_H
#define TESTS_FLEET_CLOCK_H

#include <time.h>

static inline double fleet_now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

#endif
