/* The last correction of a path: by the phases of its strongest lines. */
#ifndef LAYSHAFT_SPEED_PHASE_H
#define LAYSHAFT_SPEED_PHASE_H

#include "warp.h"

/* `profile` is the mean spectrum along `path`, one bin of it `bin_hz` wide at the path's mean speed. Each of its
 * strongest lines is demodulated along the path; what its phase still turns is the error of the speed, so that all
 * lines together give it many times a second (phase demodulation: Bonnardot et al., Mech. Syst. Signal Process. 19
 * (2005) 766; from memory of that work). On return the path is corrected and has `sd`. Without lines it stays as it
 * was. */
lay_status lay_phase_refine(const lay_chapter *chapter, const lay_profile *profile, double bin_hz, lay_shaft *path,
                            lay_error *err);

#endif
