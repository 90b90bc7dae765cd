#include <layshaft/judge.h>

#include "hints.h"
#include "judging.h"
#include "shared_hz.h"
#include "teeth.h"

#include <stdlib.h>

/* The whole road of a job: every row becomes evidence, what only several runs together show is added, then the verdict.
 */

typedef struct analysing {
    const lay_unit *unit;
    const lay_run_table *table;
    const lay_analysis_options *options;
    lay_run_evidence *runs;
} analysing;

static lay_status analyse_one(size_t i, void *work, lay_error *err) {
    analysing *a = work;
    return lay_run_analyse(a->unit, &a->table->runs[i], a->table->path, a->options, &a->runs[i], err);
}

static int threads_of(const lay_analysis_options *options) {
    return options ? options->threads : 0;
}

static lay_status analyse_all(const lay_unit *unit, const lay_run_table *table, const lay_analysis_options *options,
                              lay_progress progress, void *user, lay_diagnosis *out, lay_error *err) {
    out->runs = lay_calloc(table->count + 1, sizeof *out->runs);
    if (!out->runs) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the runs");
    out->run_count = table->count; /* what failed or was not begun is empty */
    analysing a = {unit, table, options, out->runs};
    lay_tasks tasks = {table->count, threads_of(options), analyse_one, &a, progress, user};
    return lay_run_tasks(&tasks, err);
}

/* Where the average turn of the wheels contradicts the verdict on whine or run-out, it is given once more. */
static lay_status think_again(const lay_unit *unit, const lay_run_table *table, int threads, lay_diagnosis *d,
                              lay_error *err) {
    lay_turn_hints hints;
    lay_status status = lay_turn_hints_find(unit, &d->verdict, &d->look, &hints, err);
    if (status == LAY_OK && hints.count) {
        lay_look_free(&d->look);
        lay_verdict_free(&d->verdict);
        status = lay_judge_hinted(unit, d->runs, d->run_count, &hints, &d->verdict, err);
        if (status == LAY_OK)
            status = lay_look_closer(unit, table, d->runs, d->run_count, threads, &d->verdict, &d->look, err);
    }
    free(hints.items);
    return status;
}

lay_status lay_diagnose(const lay_unit *unit, const lay_run_table *table, const lay_analysis_options *options,
                        lay_progress progress, void *user, lay_diagnosis *out, lay_error *err) {
    *out = (lay_diagnosis){0};
    lay_status status = analyse_all(unit, table, options, progress, user, out, err);
    if (status == LAY_OK) status = lay_shared_hz_find(unit, out->runs, out->run_count, err);
    lay_strings counts = {0}; /* the sentences are in the runs' warnings as well */
    if (status == LAY_OK) status = lay_teeth_check(unit, out->runs, out->run_count, &counts, err);
    lay_strings_free(&counts);
    if (status == LAY_OK) status = lay_judge(unit, table, out->runs, out->run_count, &out->verdict, err);
    if (status == LAY_OK)
        status = lay_look_closer(unit, table, out->runs, out->run_count, threads_of(options), &out->verdict, &out->look,
                                 err);
    if (status == LAY_OK) status = think_again(unit, table, threads_of(options), out, err);
    if (status != LAY_OK) lay_diagnosis_free(out);
    return status;
}
