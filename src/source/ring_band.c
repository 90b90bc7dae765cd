#include <layshaft/source.h>

#include <math.h>
#include <stdlib.h>

#define SLIP 0.02 /* looked for either side of the expected order */
#define STEP 0.001

/* The best score of one series over slips, and its band. */
static bool look(const lay_strikes *strikes, double order, double *best, size_t *band) {
    enum { POINTS = 41 };
    size_t bands = lay_strikes_band_count(strikes);
    float *score = order > 0 ? lay_calloc(bands * POINTS, sizeof *score) : NULL;
    bool found = score && lay_strike_scores(strikes, LAY_STRIKE_RING, order, -SLIP, STEP, POINTS, score);
    for (size_t i = 0; found && i < bands * POINTS; i++)
        if ((double)score[i] > *best) {
            *best = (double)score[i];
            *band = i / POINTS;
        }
    free(score);
    return found;
}

bool lay_run_ring_band(const lay_run_evidence *run, const lay_expected *bearing, double *low_hz, double *high_hz) {
    lay_strikes *strikes = NULL;
    if (lay_strikes_new(run, &strikes, NULL) != LAY_OK || !strikes) return false;
    double best = -INFINITY;
    size_t band = 0;
    bool any = look(strikes, bearing->bpfo, &best, &band);
    any |= look(strikes, bearing->bpfi, &best, &band);
    any |= look(strikes, bearing->bsf2, &best, &band);
    if (any) {
        const lay_band *ringing = &run->envelope.bands[lay_strikes_first_band(strikes) + band];
        *low_hz = ringing->low_hz;
        *high_hz = ringing->high_hz;
    }
    lay_strikes_free(strikes);
    return any;
}
