/* The band in which a bearing's blows ring, and whether any stand there. */
#include <layshaft/source.h>

#include <math.h>
#include <stdlib.h>

#define SLIP 0.02 /* looked for either side of the expected order, or the bearing's own tolerance where it is wider */
#define STEP 0.001
/* dB by which blows surpass what orders around reach; healthy bearings reached 3.4 (docs/accuracy.md). */
#define CLEAR_DB 5.0

typedef struct search {
    const lay_strikes *strikes;
    double limit;
    size_t points, bands;
    float *score; /* [bands * points] */
} search;

/* The best score of one series over bands and slips; false where the order cannot be looked for. */
static bool look(search *s, double order, double *best, size_t *band) {
    if (!(order > 0) || !lay_strike_scores(s->strikes, LAY_STRIKE_RING, order, -s->limit, STEP, s->points, s->score))
        return false;
    *best = -INFINITY;
    *band = 0;
    for (size_t i = 0; i < s->bands * s->points; i++)
        if ((double)s->score[i] > *best) {
            *best = (double)s->score[i];
            *band = i / s->points;
        }
    return true;
}

/* The most that the same search finds around the order, at places that do not overlap it. */
static double elsewhere(search *s, double order) {
    static const double beyond[] = {0.02, 0.07, 0.12};
    double away = (1 + s->limit) / (1 - s->limit), most = 0;
    for (size_t i = 0; i < 6; i++) {
        double factor = away * (1 + beyond[i / 2]), score;
        size_t band;
        if (look(s, i % 2 ? order * factor : order / factor, &score, &band)) most = fmax(most, score);
    }
    return most;
}

/* Of rings and elements the one that stands out most from what is around it. */
static bool choose(search *s, const lay_run_evidence *run, const lay_expected *bearing, lay_ring_band *out) {
    const double orders[] = {bearing->bpfo, bearing->bpfi, bearing->bsf2};
    bool any = false;
    out->clear_db = -INFINITY;
    for (int i = 0; i < 3; i++) {
        double score;
        size_t band;
        if (!look(s, orders[i], &score, &band)) continue;
        any = true;
        double clear = score - elsewhere(s, orders[i]);
        if (clear <= out->clear_db) continue;
        const lay_band *ringing = &run->envelope.bands[lay_strikes_first_band(s->strikes) + band];
        *out = (lay_ring_band){ringing->low_hz, ringing->high_hz, orders[i], clear, clear > CLEAR_DB};
    }
    return any;
}

bool lay_run_ring_band(const lay_run_evidence *run, const lay_expected *bearing, lay_ring_band *out) {
    lay_strikes *strikes = NULL;
    *out = (lay_ring_band){0};
    if (!bearing->turning || lay_strikes_new(run, &strikes, NULL) != LAY_OK || !strikes) return false;
    search s = {.strikes = strikes, .limit = fmin(0.2, fmax(SLIP, bearing->tolerance))};
    s.points = 1 + 2 * (size_t)lround(s.limit / STEP);
    s.bands = lay_strikes_band_count(strikes);
    s.score = lay_calloc(s.bands * s.points + 1, sizeof *s.score);
    bool found = s.score && choose(&s, run, bearing, out);
    free(s.score);
    lay_strikes_free(strikes);
    return found;
}
