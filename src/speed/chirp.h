/* Short spectra that hold still while the speed changes. */
#ifndef LAYSHAFT_SPEED_CHIRP_H
#define LAYSHAFT_SPEED_CHIRP_H

#include "chapter.h"

/* Frame f is centred at first_s + f * hop_s; ratio[f * bins + i] is the power at i * bin_hz over the local noise, seen
 * through a time scale that takes out slope[f] (relative change of speed per second); ratios are means over channels.
 */
typedef struct lay_chirp {
    double first_s, hop_s, bin_hz;
    size_t frames, bins;
    float *ratio, *slope;
} lay_chirp;

#define LAY_CHIRP_VIEWS 2

/* Everything turned by one shaft changes by the same share per second, so one slope per frame sharpens all its lines at
 * once (chirp transform of harmonic sounds: Kepesi and Weruaga, Speech Communication 48 (2006) 474; from memory of that
 * work). The slope that sharpens most bands is followed through time. Two views of the same chapter: views[0] takes
 * everything, which a steady run needs; views[1] leaves out what stays at its frequency (resonances, inverter tones),
 * which would hold a sweep back. A chapter shorter than a frame gives views without frames. Free both. */
lay_status lay_chirp_make(const lay_chapter *chapter, lay_chirp views[LAY_CHIRP_VIEWS], lay_error *err);
void lay_chirp_free(lay_chirp *chirp);

#endif
