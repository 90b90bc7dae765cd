/* Strong lines that the unit file does not explain. */
#ifndef LAYSHAFT_JUDGE_STRANGE_H
#define LAYSHAFT_JUDGE_STRANGE_H

#include <layshaft/source.h>

#define LAY_ABSENT_DB 7.0 /* a line this far below another counts as missing beside it */

typedef struct lay_strange {
    size_t run;
    double order, sd, tnr_db; /* `sd`: uncertainty of the centre, speed included */
    bool open;                /* nobody else may have made it: a count that fits must explain such lines */
} lay_strange;

typedef struct lay_strange_list {
    lay_strange *items;
    size_t count, capacity;
    double weight; /* of the open ones */
} lay_strange_list;

/* Strange lines of all runs whose orders can be trusted. Caller frees items, on failure too. */
lay_status lay_strange_collect(const lay_run_evidence *runs, size_t run_count, lay_strange_list *out, lay_error *err);

/* The strange line of a run nearest to `order`, NULL when none is within 3.5 of its uncertainties; *distance in these.
 */
const lay_strange *lay_strange_near(const lay_strange_list *list, size_t run, double order, double *distance);

/* What a line of this tone-to-noise ratio counts for. */
double lay_strange_weight(double tnr_db);

/* False without a confirmed speed: the orders themselves are in doubt then. */
bool lay_orders_trusted(const lay_run_evidence *run);

#endif
