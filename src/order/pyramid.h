/* The last stretch of a multi-channel signal at its own rate and at halves of it.
 *
 * Level l holds the signal at rate / 2^l, flat up to 0.8 of that level's Nyquist rate, with nothing above 1.2 of it:
 * reading the angle domain from the level that just holds the highest wanted order is an anti-alias filter that follows
 * speed. */
#ifndef LAYSHAFT_ORDER_PYRAMID_H
#define LAYSHAFT_ORDER_PYRAMID_H

#include <layshaft/base.h>

#define LAY_PYRAMID_LEVELS 9

typedef struct lay_level {
    double *x;       /* [held * channels] interleaved */
    size_t capacity; /* frames */
    size_t held;     /* frames */
    int64_t first;   /* absolute index, at this level, of x[0] */
    int64_t next_in; /* absolute index of the next frame this level makes from the one below */
} lay_level;

#define LAY_PYRAMID_ARM 29 /* taps of the halving filter either side; odd */

typedef struct lay_pyramid {
    double tap[LAY_PYRAMID_ARM + 1]; /* tap[d] for distance d; zero for even d > 0 */
    int channels;
    int levels;
    lay_level level[LAY_PYRAMID_LEVELS];
} lay_pyramid;

/* `levels` 1..LAY_PYRAMID_LEVELS. */
lay_status lay_pyramid_init(lay_pyramid *p, int channels, int levels, lay_error *err);
void lay_pyramid_free(lay_pyramid *p);
/* Append frames (NaN and infinities become 0) and bring every level up to date. */
lay_status lay_pyramid_feed(lay_pyramid *p, const double *frames, size_t count, lay_error *err);
/* Append zeros so that the last frames can be read by filters that look ahead. */
lay_status lay_pyramid_finish(lay_pyramid *p, lay_error *err);
/* Forget frames of every level that lie before `frame` of level 0, less what the filters still need. */
void lay_pyramid_forget(lay_pyramid *p, int64_t frame);

#endif
