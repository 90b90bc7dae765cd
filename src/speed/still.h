/* Taking tones that keep their frequency out of a chapter. */
#ifndef LAYSHAFT_SPEED_STILL_H
#define LAYSHAFT_SPEED_STILL_H

#include "chapter.h"

/* The hum of the mains (lines at several multiples of 50 or 60 Hz, as closely as grids are kept; common practice, no
 * source) and tones above 600 Hz that keep their frequency better than a shaft keeps its speed, such as an inverter's,
 * are subtracted from both signals of the chapter: each as a tone whose amplitude and phase change slowly. They would
 * pose as a shaft at constant speed. `hum_only` leaves the tones that are no multiple of the mains. *removed receives
 * how many were subtracted. */
lay_status lay_still_remove(lay_chapter *chapter, bool hum_only, size_t *removed, lay_error *err);

#endif
