/* Faults that strike: bearing defects and chipped teeth, by the envelope spectra of all runs. */
#ifndef LAYSHAFT_JUDGE_STRIKES_H
#define LAYSHAFT_JUDGE_STRIKES_H

#include "score.h"

/* What one hypothesis shows over all runs in which it should strike, at one band and one slip. */
typedef struct lay_strike_common {
    int runs;         /* 0: none should show it */
    double score;     /* mean over these runs, dB */
    double elsewhere; /* what orders around it reach in the same way */
    double side_db;   /* mean level of its sidebands */
    lay_flank flank;
    bool wide;  /* the multiples are known roughly only, and many other things strike */
    bool crank; /* chip: the wheel turns in step with the crank, so that cylinders could tick alike */
} lay_strike_common;

/* What the runs hold at the orders of the hypotheses that strike. */
typedef struct lay_strike_table {
    size_t runs;
    lay_strike *at;            /* [hypotheses][runs]; not valid for the others */
    lay_strike_common *common; /* [hypotheses] */
} lay_strike_table;

lay_status lay_strikes_observe(const lay_unit *unit, const lay_hypothesis_list *list, const lay_run_evidence *runs,
                               size_t run_count, lay_strike_table *out, lay_error *err);
void lay_strike_table_free(lay_strike_table *table);
const lay_strike *lay_strike_of(const lay_strike_table *table, size_t hypothesis, size_t run);

const lay_strike_common *lay_strike_common_of(const lay_strike_table *table, size_t hypothesis);
/* True when the part should strike: a chipped tooth under load on this flank, a bearing wherever it turns, or
 * (LAY_FLANK_DRIVE) where it carries load. */
bool lay_strike_expected(const lay_hypothesis *h, const lay_run_evidence *run, lay_flank flank);
/* What swings the size of the blows: the inner ring carries its defect through the load zone, the cage its elements. */
double lay_strike_swing(const lay_hypothesis *h, const lay_run_evidence *run);

/* Order at which a hypothesis strikes in a run, per turn of the reference, without slip; 0 when it does not turn. */
double lay_strike_order(const lay_hypothesis *h, const lay_run_evidence *run);

/* Log odds of one hypothesis, alone, before they are cut off. */
double lay_strike_contrast(const lay_hypothesis *h, const lay_strike_common *common, const lay_strike *at,
                           const lay_run_evidence *runs, size_t run_count);

/* Scores of the hypotheses that strike; the others stay as they are. */
lay_status lay_strikes_score(const lay_hypothesis_list *list, const lay_strike_table *table,
                             const lay_run_evidence *runs, lay_score *scores, lay_error *err);
/* Log odds that are left of hypothesis `other` once all that `self` makes is taken away. */
double lay_strikes_left(const lay_hypothesis_list *list, const lay_strike_table *table, const lay_run_evidence *runs,
                        size_t other, size_t self, const lay_score *scores);

/* True when a line at `order` of a run belongs to what the hypothesis makes there, found as `at`: a multiple, a
 * sideband. */
bool lay_strike_covers(const lay_hypothesis *h, const lay_strike *at, const lay_run_evidence *run, double order);

/* True when what the runs show of `a` fits `b` as well, within the slip a bearing may have. */
bool lay_strikes_inseparable(const lay_hypothesis_list *list, const lay_strike_table *table,
                             const lay_run_evidence *runs, size_t a, size_t b);

#define LAY_STRIKE_ALIKE 0.004 /* orders nearer than this share cannot be told apart: slip differs by as much */

/* True when both strike alike in every run, so that nothing recorded can tell them apart. */
bool lay_strikes_alike(const lay_hypothesis *a, const lay_hypothesis *b, const lay_run_evidence *runs,
                       size_t run_count);

#endif
