/* The unit with one other tooth count, laid against the strange lines. */
#ifndef LAYSHAFT_JUDGE_TRIAL_H
#define LAYSHAFT_JUDGE_TRIAL_H

#include "strange.h"

typedef struct lay_trial {
    int mesh, wheel, teeth, off; /* wheel 0 driver, 1 driven; off: teeth more or less than the file's */
    double weight;               /* of strange lines explained */
    double misfit;               /* mean square distance of line centres in their uncertainty */
    int hits, misses, orders;    /* lines found and not found; different orders among the found */
    int open;                    /* of the found: lines that nobody else may have made */
    double score;
} lay_trial;

typedef struct lay_tooth_search {
    const lay_unit *unit;
    const lay_run_evidence *runs;
    size_t run_count;
    lay_strange_list lines;
    bool *concerned;         /* [run_count] runs that show the trial at work */
    lay_expected **expected; /* [gear_count] of the trial at work; NULL: gear not recorded or not solvable */
    size_t *expected_count;
    lay_kinematics *kinematics; /* [gear_count] of the trial at work */
} lay_tooth_search;

/* Solve every recorded gear with the trial's count; a gear that cannot be solved so is left out. */
lay_status lay_trial_expect(lay_tooth_search *s, const lay_trial *t, lay_error *err);
void lay_trial_forget(lay_tooth_search *s);

/* Fill weight, misfit, hits, misses and score from what lay_trial_expect solved, and concerned[run_count]. */
void lay_trial_fit(const lay_tooth_search *s, lay_trial *t, bool *concerned);

/* True when the fit is good enough to doubt the unit file. */
bool lay_trial_convinces(const lay_tooth_search *s, const lay_trial *t);

#endif
