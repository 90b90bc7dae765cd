/* What could be wrong, as hypotheses that predict lines in every run.
 *
 * A hypothesis is one part with one kind of fault. It predicts groups of lines (a mesh harmonic, a pair of sidebands,
 * ...) in every run whose gear lets the part turn; the same groups are measured in all runs, whether a line was found
 * there or not, so that absence counts as much as presence. */
#ifndef LAYSHAFT_JUDGE_HYPOTHESIS_H
#define LAYSHAFT_JUDGE_HYPOTHESIS_H

#include <layshaft/judge.h>

#define LAY_GROUPS 4 /* groups of lines per hypothesis and run */

typedef struct lay_hypothesis {
    lay_kind kind;
    lay_part_type type; /* of the part; meaningless for an unknown source */
    int index;          /* mesh, bearing or rotor of the unit; -1 for an unknown source or striker */
    int wheel;          /* 0 driver, 1 driven (eccentric, ghost, chip), -1 none; unknown striker: the body it
                         * keeps step with */
    int multiple;       /* ghost: events per turn of the wheel's body; element: 1 when only the cage's swing shows it */
    double order; /* unknown source: order of the reference, or of the output when by_output; unknown striker: blows
                   * per turn of the body */
    bool by_output;
} lay_hypothesis;

typedef struct lay_hypothesis_list {
    lay_hypothesis *items;
    size_t count, capacity;
} lay_hypothesis_list;

/* Lines of one group: one order, or the two sides of a sideband pair. */
typedef struct lay_group {
    double order[2];
    int count; /* 0: the group does not exist */
    int harmonic;
} lay_group;

/* All hypotheses of the unit that the runs could show, and those that unexplained lines suggest. Caller frees items. */
lay_status lay_hypotheses_build(const lay_unit *unit, const lay_run_evidence *runs, size_t run_count,
                                lay_hypothesis_list *out, lay_error *err);

/* The groups a hypothesis predicts in one run; false when the part does not turn or its gear is unknown. */
bool lay_hypothesis_predict(const lay_unit *unit, const lay_hypothesis *h, const lay_run_evidence *run,
                            lay_group groups[LAY_GROUPS]);

/* The expected part of a run this hypothesis is about; NULL for an unknown source. */
const lay_expected *lay_hypothesis_expected(const lay_hypothesis *h, const lay_run_evidence *run);

/* True when a line at `order` in this run would be explained by the hypothesis: its harmonics, and for toothed parts
 * the first two sideband pairs of the first three. */
bool lay_hypothesis_explains(const lay_unit *unit, const lay_hypothesis *h, const lay_run_evidence *run, double order);

/* True when both make the same lines in every usable run. */
bool lay_hypotheses_same_lines(const lay_unit *unit, const lay_hypothesis *a, const lay_hypothesis *b,
                               const lay_run_evidence *runs, size_t run_count);

/* True for faults that strike: they show in the envelope, not as lines of the order spectrum. */
bool lay_hypothesis_strikes(const lay_hypothesis *h);

/* Name of the part (NULL: unknown source), and index of the body meant (-1: the whole part). */
const char *lay_hypothesis_part(const lay_unit *unit, const lay_hypothesis *h);
int lay_hypothesis_body(const lay_unit *unit, const lay_hypothesis *h);
bool lay_hypothesis_outside(const lay_hypothesis *h);

#endif
