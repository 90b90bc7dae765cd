/* layshaft compare: what changed between jobs of one unit, part by part. */
#include <layshaft/report.h>

#include <stdio.h>
#include <stdlib.h>

#include "clock.h"
#include "commands.h"
#include "options.h"
#include "terminal.h"

typedef struct compare_options {
    int match, threads, colour;
    const char *output;
    bool no_plots;
    lay_common common;
} compare_options;

typedef struct measured_jobs {
    lay_job *jobs;
    lay_measured *measured;
    size_t count;
} measured_jobs;

static void jobs_free(measured_jobs *m) {
    for (size_t k = 0; k < m->count; k++) {
        lay_measured_free(&m->measured[k]);
        lay_job_free(&m->jobs[k]);
    }
    free(m->jobs);
    free(m->measured);
}

static lay_status jobs_measure(const compare_options *o, char **folders, size_t count, measured_jobs *m,
                               lay_error *err) {
    m->jobs = lay_calloc(count, sizeof *m->jobs);
    m->measured = lay_calloc(count, sizeof *m->measured);
    if (!m->jobs || !m->measured) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    m->count = count;
    lay_status status = LAY_OK;
    for (size_t k = 0; k < count && status == LAY_OK; k++) {
        status = lay_job_load(folders[k], &m->jobs[k], err);
        if (status == LAY_OK)
            status = lay_measure(m->jobs[k].unit, &m->jobs[k].table, o->threads,
                                 o->common.quiet ? NULL : lay_terminal_progress, NULL, &m->measured[k], err);
    }
    return status;
}

static int answer(const compare_options *o, const lay_compared *compared, const lay_trend *trend) {
    lay_text out = {0};
    bool colour = lay_terminal_colour((lay_colour)o->colour);
    if (o->common.json) {
        lay_report_compare_json(compared, trend, false, &out);
    } else {
        lay_report_compare_text(compared, colour, lay_terminal_width(), &out);
        if (trend) lay_report_trend_text(trend, colour, lay_terminal_width(), &out);
    }
    int exit_status = lay_cli_print(&out);
    lay_text_free(&out);
    return exit_status;
}

/* The page goes to its folder after the answer was shown: a folder that cannot be written costs no result. */
static int write_report(const compare_options *o, const lay_compared *compared, const lay_trend *trend) {
    lay_error err = {0}, missing = {0};
    lay_moment now = lay_clock_moment();
    char *folder = o->output ? lay_strdup(o->output) : lay_path_join(compared->after_name, "report");
    if (!folder) return lay_cli_finish(lay_fail(&err, LAY_NO_MEMORY, "not enough memory"), &err);
    lay_compare_options options = {.folder = folder, .plots = !o->no_plots, .date = now.text};
    lay_status status = lay_report_compare_write(compared, trend, &options, &missing, &err);
    if (missing.code != LAY_OK) lay_cli_finish(missing.code, &missing);
    if (status == LAY_OK && !o->common.quiet && !o->common.json) fprintf(stderr, "\nReport: %s/compare.html\n", folder);
    free(folder);
    return lay_cli_finish(status, &err);
}

static int run(const compare_options *o, char **folders, size_t count) {
    measured_jobs m = {0};
    lay_comparison comparison = {0};
    lay_trend trend = {0};
    lay_error err = {0};
    int exit_status;
    lay_status status = jobs_measure(o, folders, count, &m, &err);
    if (status == LAY_OK)
        status = lay_compare(&m.measured[0], &m.measured[count - 1], (lay_match)o->match, &comparison, &err);
    if (status == LAY_OK && count > 2)
        status = lay_trend_find(m.measured, (const char *const *)folders, count, (lay_match)o->match, &trend, &err);
    if (status == LAY_OK) {
        lay_compared compared = {&comparison, &m.measured[0], &m.measured[count - 1], folders[0], folders[count - 1]};
        exit_status = answer(o, &compared, count > 2 ? &trend : NULL);
        int report_status = write_report(o, &compared, count > 2 ? &trend : NULL);
        if (exit_status == 0) exit_status = report_status;
    } else {
        exit_status = lay_cli_finish(status, &err);
    }
    lay_trend_free(&trend);
    lay_comparison_free(&comparison);
    jobs_free(&m);
    return exit_status;
}

static const char about[] =
    "Says what changed between two jobs of one unit, part by part and line by line, over the gears, loads and speeds "
    "that "
    "both hold: by how much, and between which bounds the change lies in 95 of 100 cases. After a gear swap parts are "
    "matched by their names in unit.ini. With more than two jobs, in order of time, it also says whether each part "
    "settles, as in running-in. Keep sensor, place, gain, oil temperature and load as they were; what differed is "
    "told. "
    "Recordings without a calibration are taken as they are; --match says what else was the same both times. A page "
    "with "
    "pictures goes to AFTER/report.";
static const char examples[] = "  layshaft compare before-rebuild after-rebuild\n"
                               "  layshaft compare --match floor phone-monday phone-friday\n"
                               "  layshaft compare run-in-0h run-in-2h run-in-5h\n";

int lay_cmd_compare(int argc, char **argv) {
    compare_options o = {0};
    const lay_option options[] = {
        {"match", LAY_OPTION_CHOICE, &o.match, "none|floor|engine",
         "what was the same both times: none (levels as they are), the noise floor, or the engine (default none)", 0, 0,
         NULL},
        {"output", LAY_OPTION_TEXT, &o.output, "DIR", "folder for the page and its pictures (default AFTER/report)", 0,
         0, NULL},
        {"no-plots", LAY_OPTION_FLAG, &o.no_plots, NULL, "write no pictures", 0, 0, NULL},
        LAY_THREADS_ROW(&o.threads),
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "compare",
                             .synopsis = "[options] BEFORE AFTER\n[options] FIRST NEXT... LAST\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 2,
                             .operands_high = -1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    return exit_status >= 0 ? exit_status : run(&o, operands, (size_t)count);
}
