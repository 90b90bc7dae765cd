/* From observations to probabilities. */
#ifndef LAYSHAFT_JUDGE_SCORE_H
#define LAYSHAFT_JUDGE_SCORE_H

#include "observe.h"

typedef enum lay_flank { LAY_FLANK_ANY, LAY_FLANK_DRIVE, LAY_FLANK_COAST } lay_flank;

/* How one hypothesis fares. Levels are tone-to-noise ratios in dB, means over runs. */
typedef struct lay_score {
    bool observed;      /* there was at least one place to look at */
    lay_flank flank;    /* side on which it sings */
    int group;          /* group of lines that carries it */
    double level_db;    /* over the runs in which it should sing */
    double quiet_db;    /* over the runs in which it should not; NaN without such runs */
    double spread_db;   /* standard deviation over the runs in which it should sing */
    int runs, best_run; /* how many should sing; the one that shows it best */
    double odds;        /* natural log of the odds of this fault against a healthy unit, alone */
    double residual; /* what the best fault that is left when all this one explains is taken away costs it, log odds */
    double probability;
} lay_score;

/* Lines that are already explained. */
typedef struct lay_taken {
    const lay_unit *unit;
    const lay_hypothesis *by; /* NULL: nothing is taken */
    double level_db;          /* at which it sings under load */
} lay_taken;

struct lay_strike_table;
struct lay_turn_hints;

/* Score every hypothesis; out[list->count]. */
lay_status lay_score_all(const lay_unit *unit, const lay_hypothesis_list *list, const lay_observations *obs,
                         const struct lay_strike_table *strikes, const struct lay_turn_hints *hints,
                         const lay_run_evidence *runs, lay_score *out, lay_error *err);

#endif
