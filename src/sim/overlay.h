/* What was not meant to be recorded: somebody talks, or music plays. */
#ifndef LAYSHAFT_SIM_OVERLAY_H
#define LAYSHAFT_SIM_OVERLAY_H

#include "filter.h"
#include "trip.h"

#define LAY_SIM_OVERLAY_NOTES 4
#define LAY_SIM_OVERLAY_PARTIALS 4

typedef struct lay_sim_overlay {
    lay_sim_event_kind kind;
    double rate, from, to; /* s */
    double peak;
    double phase[LAY_SIM_OVERLAY_NOTES], hz[LAY_SIM_OVERLAY_NOTES]; /* voice or chord; phase in cycles */
    double left;                                                    /* s until the next chord or syllable */
    double length;                                                  /* s of the present one */
    bool pause;                                                     /* between words */
    lay_sim_biquad formant[3];
    lay_random random;
} lay_sim_overlay;

/* False when nobody talks and nothing plays in this trip. `rms` is that of the run's noise floor: the overlay is some
 * 3 to 15 dB louder. */
bool lay_sim_overlay_draw(lay_random *random, const lay_sim_trip *trip, double rate, double rms, lay_sim_overlay *out);
/* Add it to n samples from `first` on, called in order. */
void lay_sim_overlay_add(lay_sim_overlay *overlay, double *x, size_t n, size_t first);

#endif
