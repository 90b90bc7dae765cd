/* Automatic gain: the whole spectrum jumps by the same number of dB, again and again. */
#ifndef LAYSHAFT_SIGNAL_CHECK_GAIN_H
#define LAYSHAFT_SIGNAL_CHECK_GAIN_H

#include <layshaft/base.h>

enum {
    LAY_GAIN_BANDS = 4,                               /* upper octaves looked at */
    LAY_GAIN_SIDE = 12,                               /* blocks before and after a jump */
    LAY_GAIN_GAP = 2,                                 /* blocks the jump may take */
    LAY_GAIN_SPAN = 2 * LAY_GAIN_SIDE + LAY_GAIN_GAP, /* blocks kept */
};
#define LAY_GAIN_BLOCK_S 0.05 /* seconds per block */

/* Zero it to start. */
typedef struct lay_gain_check {
    double level[LAY_GAIN_SPAN][LAY_GAIN_BANDS]; /* dB; a ring */
    int64_t blocks;
    int64_t last_jump; /* block */
    int jumps;
    double largest; /* dB */
} lay_gain_check;

/* One block's mean square in each octave. */
void lay_gain_feed(lay_gain_check *g, const double power[LAY_GAIN_BANDS]);
/* Largest jump in dB, 0 when jumps are too few to be automatic gain. */
double lay_gain_finish(const lay_gain_check *g);

#endif
