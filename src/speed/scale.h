/* Which speed a path stands for, and in which gear: where the aliases part. */
#ifndef LAYSHAFT_SPEED_SCALE_H
#define LAYSHAFT_SPEED_SCALE_H

#include "warp.h"

#define LAY_SCALE_ANSWERS 8
#define LAY_SCALE_NONE 5.0 /* nats: evidence of the answer that none of these is right, when everything is searched */
#define LAY_SCALE_TEMPERATURE 3.0 /* orders of one engine, harmonics of one mesh do not come and go independently */

typedef struct lay_answer {
    double factor; /* true speed over the path's */
    size_t gear;
    double evidence; /* nats, prior included */
    double probability;
    int matched; /* lines of the unit that were found */
} lay_answer;

typedef struct lay_scale {
    lay_answer answers[LAY_SCALE_ANSWERS]; /* most probable first; speeds further apart than the lines can tell. */
    size_t count;
    double none; /* nats: evidence of the answer that none of these is right; what is missing to probabilities of 1 */
} lay_scale;

/* The lines of `profile` against the orders of every gear at every factor that keeps the speed within the options'
 * limits. `low_hz`, `mean_hz`, `high_hz`: of the path. No answers when there are no lines. */
lay_status lay_scale_find(const lay_profile *profile, double bin_hz, const lay_track_options *options, double low_hz,
                          double mean_hz, double high_hz, lay_scale *out, lay_error *err);

#endif
