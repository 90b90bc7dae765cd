/* Which of a run's many lines are worth a reader's time. */
#ifndef LAYSHAFT_REPORT_PICK_H
#define LAYSHAFT_REPORT_PICK_H

#include <layshaft/source.h>

typedef struct lay_pick {
    double max_order; /* lines above are left out; INFINITY: all */
    bool named;       /* lines without a likely maker are left out */
    int per_maker;    /* at most so many of one maker, so that a loud engine does not fill the list */
    size_t limit;     /* at most so many in all, <= 32 */
} lay_pick;

/* Whether a line has a maker likely enough to be named to a reader. */
bool lay_line_named(const lay_explained_line *line);

/* The strongest lines first; sidebands count as 20 dB weaker than they are. Fills out[limit] with borrowed pointers and
 * returns how many. */
size_t lay_pick_lines(const lay_run_evidence *run, const lay_pick *pick, const lay_explained_line **out);

#endif
