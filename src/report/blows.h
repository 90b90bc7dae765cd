/* What the text, the JSON and the picture say alike of a fault that strikes. */
#ifndef LAYSHAFT_REPORT_BLOWS_H
#define LAYSHAFT_REPORT_BLOWS_H

#include "text.h"

/* True when the suspect strikes, and was measured: its blows and the run that shows them best can be relied on. */
bool lay_blows_known(const lay_report_view *view, const lay_suspect *s);

/* True for a damaged element that shows only by the swing of its cage: more multiples are measured then than of blows.
 */
bool lay_blows_swing_only(const lay_suspect *s);

/* What the blows are counted by: a wheel, or what lay_bearing_turner says. order 0: unknown. */
lay_turner lay_blows_turner(const lay_report_view *view, const lay_suspect *s);

/* "outer race", "ball or roller", ..., "tooth". */
const char *lay_blows_place(lay_kind kind);
/* The band in whole tens of Hz, appended: "6250 to 8750 Hz". */
void lay_blows_band(const lay_blows *blows, lay_text *out);

#endif
