/* Where the gears turn with the engine. */
#ifndef LAYSHAFT_SPEED_COUPLE_H
#define LAYSHAFT_SPEED_COUPLE_H

#include "scale.h"

/* Orders of the gear that the engine does not make, as far as they stand clearly in `profile` (the mean along the path
 * in frames of `profile_s`), are watched through the chapter: where they are gone for long while the path goes on, the
 * crank is not the input shaft (clutch, blip, idle) or another gear is in. apart[frames] receives true there; frame f
 * is centred at first_s + f * hop_s. Nothing is judged, and *frames stays 0, when too little of the gears is heard.
 * Caller frees *apart. */
lay_status lay_couple_watch(const lay_chapter *chapter, const lay_shaft *path, const lay_profile *profile,
                            double profile_s, const lay_track_options *options, const lay_answer *answer, bool **apart,
                            size_t *frames, double *first_s, double *hop_s, lay_error *err);

#endif
