/* What text, JSON and picture say alike about a run's speed. */
#ifndef LAYSHAFT_REPORT_SPEED_WORDS_H
#define LAYSHAFT_REPORT_SPEED_WORDS_H

#include <layshaft/report.h>

#include "run_json.h"

#define LAY_SPEED_CONFIRMED 0.5 /* a confidence below is "not confirmed" */
#define LAY_SPEED_SURE 0.8      /* from here on there is nothing to be done */

lay_speed_summary lay_speed_summary_of(const lay_run_speed *speed);
/* Standard uncertainty in turns/s, rms over time; NaN when none is estimated. */
double lay_speed_uncertainty(const lay_shaft *shaft);

typedef struct lay_speed_piece {
    double start_s, end_s;
} lay_speed_piece;
/* Segment k of the shaft in seconds. */
lay_speed_piece lay_speed_segment(const lay_shaft *shaft, size_t k);
/* What has no speed before segment k = 0..segment_count (the last: after all of them); false when too short to count.
 */
bool lay_speed_gap(const lay_run_speed *speed, size_t k, lay_speed_piece *out);

/* Gear as found or given, "" when unknown. Borrowed. */
const char *lay_speed_gear(const lay_unit *unit, const lay_speed_row *row);
/* How likely that gear is: 1 when it was given, 0 when none is known. */
double lay_speed_gear_chance(const lay_run_speed *speed);
bool lay_speed_confirmed(const lay_run_speed *speed);
/* "as good as certain", ..., "not confirmed". */
const char *lay_speed_sure(double confidence);
/* "tach pulses on channel 2", "the stated 2110 rpm, refined on the recording", ... */
void lay_speed_how(const lay_speed_row *row, lay_text *out);
/* What to do for a surer speed; nothing is appended when it is sure. */
void lay_speed_next(const lay_speed_row *row, lay_text *out);

#endif
