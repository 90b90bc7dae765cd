#define _DEFAULT_SOURCE /* CLOCK_BOOTTIME */

#include "clock.h"

#include <time.h>

static double seconds_of(clockid_t clock) {
    struct timespec now;
    clock_gettime(clock, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

double lay_clock_s(void) {
    return seconds_of(CLOCK_MONOTONIC);
}

double lay_clock_gap_s(void) {
#ifdef CLOCK_BOOTTIME
    return seconds_of(CLOCK_BOOTTIME) - seconds_of(CLOCK_MONOTONIC);
#else
    return 0;
#endif
}
