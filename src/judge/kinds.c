#include "kinds.h"

#include <math.h>

/* Run-out modulates a mesh once per turn in depth and in phase; both together make one sideband stronger than the
 * other, so the stronger one is compared, with its own line in the same run: resonances and masking noise then drop
 * out. Sound wheels have sidebands as well; where both are as likely is common practice, no source. */

#define RATIO_DB 10.5 /* a sideband this far below the mesh line is as likely eccentric as natural */
#define PER_DB 0.9    /* log odds between the two kinds */
#define MOST 4.0
#define SURE 5.0      /* log odds by which the average turn decides */
#define CLEAR_DB 3.0  /* lines weaker than this do not show their sidebands */
#define REACH_DB 10.0 /* harmonics so far below the strongest do not count */

static double strongest(const lay_observations *obs, size_t mesh) {
    double best = -INFINITY;
    for (size_t r = 0; r < obs->runs; r++)
        for (int g = 0; g < LAY_GROUPS; g++) {
            const lay_observation *line = lay_observation_at(obs, mesh, r, g);
            if (line->valid && obs->loaded[mesh * obs->runs + r]) best = fmax(best, line->level_db);
        }
    return best;
}

double lay_sideband_ratio(const lay_observations *obs, size_t eccentric, size_t mesh) {
    double ratio[128], least = fmax(CLEAR_DB, strongest(obs, mesh) - REACH_DB);
    size_t n = 0;
    for (size_t r = 0; r < obs->runs; r++)
        for (int g = 0; g < LAY_GROUPS && n < 128; g++) {
            const lay_observation *line = lay_observation_at(obs, mesh, r, g),
                                  *side = lay_observation_at(obs, eccentric, r, g);
            if (!line->valid || !side->valid || side->side < 0) continue;
            if (!obs->loaded[mesh * obs->runs + r] || line->level_db < least) continue;
            ratio[n++] = lay_db_power(fmax(1e-4, side->side / line->tone.power));
        }
    return n > 0 ? lay_median(ratio, n) : NAN;
}

/* Where no line stands out, the sidebands' own level over the runs has to do. */
static double ratio_of(const lay_observations *obs, const lay_score *scores, size_t eccentric, size_t mesh) {
    double ratio = lay_sideband_ratio(obs, eccentric, mesh);
    return isnan(ratio) ? scores[eccentric].level_db - scores[mesh].level_db : ratio;
}

static double lean(double ratio) {
    return fmax(-MOST, fmin(MOST, PER_DB * (ratio + RATIO_DB)));
}

static const lay_turn_hint *hint_for(const lay_turn_hints *hints, int mesh) {
    for (size_t i = 0; hints && i < hints->count; i++)
        if (hints->items[i].mesh == mesh) return &hints->items[i];
    return NULL;
}

/* Whine and the two wheels share the odds of the best of them. */
static void settle_mesh(const lay_hypothesis_list *list, const lay_observations *obs, const lay_turn_hint *hint,
                        size_t mesh, lay_score *scores) {
    size_t wheel[2];
    double ratio[2], best = scores[mesh].odds, most = -INFINITY;
    int n = 0;
    for (size_t i = 0; i < list->count && n < 2; i++) {
        const lay_hypothesis *h = &list->items[i];
        if (h->kind != LAY_KIND_ECCENTRIC || h->index != list->items[mesh].index || !scores[i].observed) continue;
        wheel[n] = i;
        ratio[n] = ratio_of(obs, scores, i, mesh);
        most = fmax(most, ratio[n]);
        best = fmax(best, scores[i].odds);
        n++;
    }
    if (best < 0) return;
    if (hint) {
        for (int k = 0; k < n; k++)
            scores[wheel[k]].odds = best - (list->items[wheel[k]].wheel == hint->wheel ? 0 : SURE);
        scores[mesh].odds = best - (hint->wheel < 0 ? 0 : SURE);
        return;
    }
    for (int k = 0; k < n; k++) {
        double behind = PER_DB * (most - ratio[k]); /* the other wheel's sidebands are stronger */
        scores[wheel[k]].odds = best - fmin(MOST, fmax(0, -lean(ratio[k])) + behind);
    }
    if (n > 0) scores[mesh].odds = best - fmax(0, lean(most));
}

void lay_settle_kinds(const lay_hypothesis_list *list, const lay_observations *obs, const lay_turn_hints *hints,
                      lay_score *scores) {
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].kind == LAY_KIND_MESH)
            settle_mesh(list, obs, hint_for(hints, list->items[i].index), i, scores);
}
