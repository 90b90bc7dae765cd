/* Where the lines of the unit are on the path, and those of the gears with those of the engine. */
#ifndef LAYSHAFT_SPEED_COUPLE_H
#define LAYSHAFT_SPEED_COUPLE_H

#include "scale.h"

/* Frame f is centred at first_s + f * hop_s. Zeroed: nothing could be judged. */
typedef struct lay_apart {
    bool *frames; /* [count] true where the path is not to be believed */
    size_t count;
    double first_s, hop_s;
} lay_apart;

/* The unit's orders, as far as they stand clearly in `profile` (the mean along the path in frames of `profile_s`), are
 * watched through the chapter: where they are gone for a while, the path has strayed (speech, a blip); where only those
 * of the gears are gone, which the engine does not make, the crank is not the input shaft (clutch, idle) or another
 * gear is in. Nothing is marked when too little is heard. */
lay_status lay_couple_watch(const lay_chapter *chapter, const lay_shaft *path, const lay_profile *profile,
                            double profile_s, const lay_track_options *options, const lay_answer *answer,
                            lay_apart *out, lay_error *err);
void lay_apart_free(lay_apart *apart);
bool lay_apart_at(const lay_apart *apart, double t);

#endif
