/* Tones that stay at one frequency whatever the shaft does. */
#ifndef LAYSHAFT_SOURCE_FIXED_HZ_H
#define LAYSHAFT_SOURCE_FIXED_HZ_H

#include <layshaft/source.h>

/* Fill run->fixed_hz with what this run alone proves: mains harmonics (50 or 60 Hz families), and narrow peaks in Hz
 * while the speed swept. Says so in run->warnings. */
lay_status lay_fixed_hz_find(lay_run_evidence *run, lay_error *err);

#endif
