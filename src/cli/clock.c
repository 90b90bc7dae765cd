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

lay_moment lay_clock_moment(void) {
    lay_moment moment = {""};
    time_t now = time(NULL);
    struct tm local;
    if (localtime_r(&now, &local)) strftime(moment.text, sizeof moment.text, "%Y-%m-%d %H:%M", &local);
    return moment;
}
