/* Where the gears turn with the engine. */
#ifndef LAYSHAFT_SPEED_COUPLE_H
#define LAYSHAFT_SPEED_COUPLE_H

#include "scale.h"

/* Frame f is centred at first_s + f * hop_s. Zeroed: nothing could be judged. */
typedef struct lay_apart {
    bool *frames; /* [count] true where the gears do not turn with the path */
    size_t count;
    double first_s, hop_s;
} lay_apart;

/* Orders of the gear that the engine does not make, as far as they stand clearly in `profile` (the mean along the path
 * in frames of `profile_s`), are watched through the chapter: where they are gone for long while the path goes on, the
 * crank is not the input shaft (clutch, blip, idle) or another gear is in. Nothing is judged when too little of the
 * gears is heard. */
lay_status lay_couple_watch(const lay_chapter *chapter, const lay_shaft *path, const lay_profile *profile,
                            double profile_s, const lay_track_options *options, const lay_answer *answer,
                            lay_apart *out, lay_error *err);
void lay_apart_free(lay_apart *apart);
bool lay_apart_at(const lay_apart *apart, double t);

#endif
