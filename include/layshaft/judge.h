/* What the runs of a job mean together. */
#ifndef LAYSHAFT_JUDGE_H
#define LAYSHAFT_JUDGE_H

#include <layshaft/source.h>

typedef enum lay_outcome { LAY_ATTENTION, LAY_OUTSIDE, LAY_CLEAR, LAY_INCONCLUSIVE } lay_outcome;
LAY_API const char *lay_outcome_name(lay_outcome outcome); /* "attention", ... */

typedef enum lay_kind {
    LAY_KIND_MESH,
    LAY_KIND_ECCENTRIC,
    LAY_KIND_CHIP,
    LAY_KIND_GHOST,
    LAY_KIND_OUTER,
    LAY_KIND_INNER,
    LAY_KIND_ELEMENT,
    LAY_KIND_CAGE,
    LAY_KIND_OUTSIDE,
    LAY_KIND_COUNT
} lay_kind;
LAY_API const char *lay_kind_name(lay_kind kind); /* "mesh", "eccentric", ... */

/* A list of owned strings. */
typedef struct lay_strings {
    char **items;
    size_t count, capacity;
} lay_strings;
LAY_API lay_status lay_strings_add(lay_strings *list, lay_error *err, const char *fmt, ...) LAY_PRINTF(3, 4);
LAY_API void lay_strings_free(lay_strings *list);

typedef struct lay_suspect {
    char *part; /* the section's own name; NULL: outside, source unknown */
    lay_kind kind;
    char *body; /* the wheel's body, NULL when the whole part is meant */
    double probability;
    double level_db; /* strongest line in the run that shows it best */
    lay_quantity quantity;
    double above_floor_db, prominence_db; /* prominence: tone-to-noise ratio */
    bool audible;
    int best_run; /* index of that run */
    lay_strings reasons, checks, not_separable_from;
} lay_suspect;

typedef struct lay_verdict {
    lay_outcome outcome;
    char *summary;
    lay_suspect *suspects;
    size_t suspect_count;
    lay_strings add; /* recordings that would settle it */
} lay_verdict;

typedef struct lay_diagnosis {
    lay_verdict verdict;
    lay_run_evidence *runs; /* [run_count], one per row of the table */
    size_t run_count;
} lay_diagnosis;
LAY_API void lay_diagnosis_free(lay_diagnosis *d);

/* Called after each run with its number (from 0) and the count; may be NULL. */
typedef void (*lay_progress)(size_t done, size_t count, void *user);

/* The only place that knows the whole road: analyse every row of `table`, then judge them together. */
LAY_API lay_status lay_diagnose(const lay_unit *unit, const lay_run_table *table, const lay_analysis_options *options,
                                lay_progress progress, void *user, lay_diagnosis *out, lay_error *err);

/* Judge evidence already collected (borrowed). */
LAY_API lay_status lay_judge(const lay_unit *unit, const lay_run_table *table, const lay_run_evidence *runs,
                             size_t count, lay_verdict *out, lay_error *err);
LAY_API void lay_verdict_free(lay_verdict *verdict);

/* A job folder: unit.ini and runs.csv inside it. Errors say which is missing and how to make it. */
typedef struct lay_job {
    char *folder;
    lay_unit *unit;
    lay_run_table table;
} lay_job;
LAY_API lay_status lay_job_load(const char *folder, lay_job *out, lay_error *err);
LAY_API void lay_job_free(lay_job *job);

#endif
