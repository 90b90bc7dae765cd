/* Which of the edges of a tach signal are pulses. */
#ifndef LAYSHAFT_SPEED_CHOOSE_H
#define LAYSHAFT_SPEED_CHOOSE_H

#include <layshaft/base.h>

/* For each of `count` edge times t (s, rising): steps[k] = 0 when the edge is no pulse, else how many pulses it lies
 * after the one before (more than 1: missing pulses), LAY_CHOSEN_FRESH when it is the first pulse or pulses had stopped
 * before. `period` > 0: t[0] is a pulse that is known already, that long after the one before it; 0: none is known. */
lay_status lay_choose_pulses(const double *t, size_t count, double period, uint8_t *steps, lay_error *err);
#define LAY_CHOSEN_FRESH UINT8_MAX

#endif
