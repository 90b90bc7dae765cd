#include "strike_odds.h"

#include <math.h>
#include <stdlib.h>

/* From the envelope spectra of all runs to log odds, derived here (no publication claimed).
 *
 * A fault that strikes is there in every run in which its part turns under load. In one run alone a series of lines
 * comes about by chance or by something else now and then, in several at the same slip and in the same band it does
 * not: the threshold falls with the number of runs. Its level is taken against what orders without any part reach in
 * the same way. Constants were set on simulated jobs and on open records, and are checked on fresh jobs
 * (docs/accuracy.md). */

/* Bearings: levels in dB, three lines weighing 1, 0.7 and 0.5. */
#define ONE_RUN_DB 15.0
#define RING_DB 7.0
#define RING_FEW_DB 3.0    /* over the number of runs */
#define RING_ALONE_DB 20.5 /* over its square */
#define RING_SLOPE 0.7
#define ELSEWHERE 0.95
#define ELSEWHERE_MOST_DB 26.0 /* a strong fault's own sidebands are everywhere */
#define SWING_DB 15.0          /* the same for an element that only the cage's swing shows */
#define SWING_ALONE_DB 13.5

/* Cages and locked wheels: level that the lines of the series have. */
#define CAGE_DB 0.4
#define CAGE_ALONE_DB 3.0
#define CAGE_SLOPE 2.5
#define CAGE_ELSEWHERE 1.9
#define CHIP_DB 4.6
#define CHIP_FEW_DB 4.5
#define CHIP_SLOPE 0.9
#define CHIP_QUIET 0.6     /* of the level in runs in which the tooth should not strike */
#define CRANK_DB 2.0       /* more for a body that turns with the crank: no two cylinders tick alike */
#define CRANK_ALONE (-1.0) /* log odds of such a one where no run shows the crank without the tooth */
#define ONE_FLANK 0.7
#define WIDE 2.0 /* log odds: multiples known to ten per cent fit the blows of other parts as well */

static double prior(const lay_hypothesis *h) {
    if (h->kind == LAY_KIND_ELEMENT) return h->multiple == 1 ? -0.5 : -0.3;
    return h->kind == LAY_KIND_CAGE ? -0.5 : 0;
}

bool lay_strike_counts(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                       const lay_run_evidence *run) {
    return at->valid && lay_run_trusted(run) && lay_strike_expected(h, run, c->flank);
}

/* The first lines of a series that a cage makes by swinging the load stand out from the rest; blows are all alike. */
static double decay(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                    const lay_run_evidence *runs, size_t run_count) {
    double sum = 0;
    int n = 0;
    for (size_t r = 0; r < run_count; r++) {
        if (!lay_strike_counts(h, c, &at[r], &runs[r])) continue;
        double late = 0;
        if (at[r].lines < 8) continue;
        for (int k = 4; k < 8; k++) late += at[r].level_db[k] / 4;
        sum += at[r].level_db[0] - late;
        n++;
    }
    return n ? sum / n : 0;
}

/* Level in the runs in which a chipped tooth should not strike: their mean; of what keeps step with the crank the most,
 * since ticks are louder in one run than in another. */
static double quiet_level(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                          const lay_run_evidence *runs, size_t run_count, int *quiet_runs) {
    double sum = 0, most = 0;
    *quiet_runs = 0;
    for (size_t r = 0; r < run_count; r++) {
        if (!at[r].valid || lay_strike_expected(h, &runs[r], c->flank)) continue;
        sum += at[r].score;
        most = fmax(most, at[r].score);
        (*quiet_runs)++;
    }
    return *quiet_runs == 0 ? 0 : c->crank ? most : sum / *quiet_runs;
}

static int rising(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* What the mean over the runs loses when none may stand out from their middle by more than ONE_RUN_DB: what strikes in
 * one run alone is something else. */
static double one_run_excess(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                             const lay_run_evidence *runs, size_t run_count) {
    double score[64], loss = 0;
    size_t n = 0;
    for (size_t r = 0; r < run_count && n < 64; r++)
        if (lay_strike_counts(h, c, &at[r], &runs[r])) score[n++] = at[r].score;
    if (n < 2) return 0;
    qsort(score, n, sizeof *score, rising);
    double most = score[(n - 1) / 2] + ONE_RUN_DB;
    for (size_t i = 0; i < n; i++) loss += fmax(0, score[i] - most);
    return loss / (double)n;
}

/* Sidebands count as far as the line they belong to stands there. */
static double side_level(const lay_hypothesis *h, const lay_strike_common *c) {
    if (h->kind == LAY_KIND_OUTER) return 0;
    return fmin(LAY_STRIKE_SIDE_DB, fmin(c->side_db, c->score / LAY_STRIKE_WEIGHTS));
}

/* Log odds when `taken` dB of the level are explained otherwise. */
double lay_strike_odds(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                       const lay_run_evidence *runs, size_t run_count, double taken) {
    if (c->runs == 0) return -LAY_STRIKE_CLAMP;
    double alone = 1.0 / c->runs, level = c->score - taken, flank = c->flank != LAY_FLANK_ANY ? ONE_FLANK : 0;
    int quiet_runs;
    switch (h->kind) {
    case LAY_KIND_CHIP:
        level -= (c->crank ? 1 : CHIP_QUIET) * fmax(0, quiet_level(h, c, at, runs, run_count, &quiet_runs));
        if (c->crank && quiet_runs == 0) return CRANK_ALONE;
        if (c->crank) level -= CRANK_DB;
        return CHIP_SLOPE * (level - CHIP_DB - CHIP_FEW_DB * alone) - flank;
    case LAY_KIND_CAGE:
        level -= CAGE_ELSEWHERE * c->elsewhere + fmax(0, fmin(6, 0.5 * (decay(h, c, at, runs, run_count) - 6)));
        return CAGE_SLOPE * (level - CAGE_DB - CAGE_ALONE_DB * alone * alone) + prior(h) - flank;
    default:
        flank += WIDE * (c->wide ? 1 : 0);
        if (h->multiple == 1)
            return RING_SLOPE * (level - SWING_DB - SWING_ALONE_DB * alone * alone) + prior(h) - flank;
        level -= one_run_excess(h, c, at, runs, run_count);
        level += side_level(h, c) - fmin(ELSEWHERE_MOST_DB, ELSEWHERE * c->elsewhere);
        return RING_SLOPE * (level - RING_DB - RING_FEW_DB * alone - RING_ALONE_DB * alone * alone) + prior(h) - flank;
    }
}

double lay_strike_contrast(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                           const lay_run_evidence *runs, size_t run_count) {
    return lay_strike_odds(h, c, at, runs, run_count, 0);
}

lay_score lay_strike_score(const lay_hypothesis *h, const lay_strike_common *c, const lay_strike *at,
                           const lay_run_evidence *runs, size_t run_count) {
    lay_score s = {.odds = -LAY_STRIKE_CLAMP, .level_db = -20, .quiet_db = NAN, .best_run = -1, .flank = c->flank};
    double best = -INFINITY;
    int quiet_runs;
    if (c->runs == 0) return s;
    for (size_t r = 0; r < run_count; r++)
        if (lay_strike_counts(h, c, &at[r], &runs[r]) && at[r].score > best) best = at[r].score, s.best_run = (int)r;
    s.observed = true;
    s.runs = c->runs;
    s.level_db = c->score;
    s.quiet_db = quiet_level(h, c, at, runs, run_count, &quiet_runs);
    if (quiet_runs == 0) s.quiet_db = NAN;
    s.odds = fmax(-LAY_STRIKE_CLAMP, lay_strike_odds(h, c, at, runs, run_count, 0));
    return s;
}
