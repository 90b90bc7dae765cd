/* Tooth counts of the unit file that the recordings contradict. */
#ifndef LAYSHAFT_JUDGE_TEETH_H
#define LAYSHAFT_JUDGE_TEETH_H

#include <layshaft/judge.h>

/* When strong lines that nothing explains fit the unit with one wheel of another tooth count (up to three more or
 * less), in all gears in which they should, and the lines of the file's own count are missing, say so: one sentence per
 * wheel that would fit, in `out` and in the warnings of the runs that show it. Call it when the lines are explained
 * (lay_shared_hz_find done). */
lay_status lay_teeth_check(const lay_unit *unit, lay_run_evidence *runs, size_t count, lay_strings *out,
                           lay_error *err);

#endif
