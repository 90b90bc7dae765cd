/* One run's speed made by hand: a run-up with gaps. */
#ifndef TESTS_SUPPORT_SPEED_ROW_H
#define TESTS_SUPPORT_SPEED_ROW_H

#include <layshaft/report.h>

#include "diagnosis.h"

typedef struct speed_fixture {
    lay_run_spec spec;   /* strings are borrowed: replace them freely by literals */
    lay_run_speed speed; /* owns its shaft and warnings */
    lay_speed_row row;
} speed_fixture;

/* Run 2 of a table, third gear of fixture_unit, 20 s long: 1200 to 2070 rpm from 2.3 to 11.0 s and 2260 to 2920 rpm
 * from 12.4 to 19.0 s, known to 1 %, from the signal, 97 % sure. The table says 1200-3200 rpm, a tach on channel 2 and
 * a log.
 */
void speed_fixture_make(speed_fixture *f);
void speed_fixture_free(speed_fixture *f);
/* One more segment at the end of the shaft, linear in rpm, knots every 0.1 s with 1 % of uncertainty. */
void speed_fixture_segment(speed_fixture *f, double start_s, double end_s, double from_rpm, double to_rpm);

#endif
