/* Tones fixed in Hz that only several runs together give away. */
#ifndef LAYSHAFT_JUDGE_SHARED_HZ_H
#define LAYSHAFT_JUDGE_SHARED_HZ_H

#include <layshaft/judge.h>

/* A narrow peak at the same Hz in runs whose speeds differ is no line of a shaft. Adds such tones to run->fixed_hz of
 * the runs concerned, says so in their warnings, and explains their lines anew. */
lay_status lay_shared_hz_find(const lay_unit *unit, lay_run_evidence *runs, size_t count, lay_error *err);

#endif
