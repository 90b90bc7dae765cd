/* What one bin of a whitened spectrum says. */
#ifndef LAYSHAFT_SPEED_GAIN_H
#define LAYSHAFT_SPEED_GAIN_H

#include <layshaft/base.h>

#define LAY_GAINS 512
#define LAY_GAINS_PER_UNIT 16

/* A bin r times its noise mean is exp(-r) under noise and k exp(-k r) under a line of unknown height, k = 0.1. An order
 * that is heard with chance p so adds log(1 - p + p k exp((1 - k) r)), at most `most` so that one loud line cannot
 * outvote all others. gains[LAY_GAINS] receives it for r = i / LAY_GAINS_PER_UNIT. */
void lay_gains_fill(double heard, double most, float *gains);
/* Of a ratio >= 0. */
float lay_gain(const float *gains, float ratio);

#endif
