/* layshaft speed: how the reference shaft turned in every run, and how sure that is. */
#include <layshaft/report.h>

#include <stdlib.h>

#include "commands.h"
#include "options.h"
#include "run_name.h"
#include "single.h"
#include "terminal.h"

#define STEP 0.05 /* s between points of the CSV */

typedef struct speed_options {
    const char *unit, *output;
    lay_single single;
    bool csv, no_plots, step_given;
    double step;
    int colour;
    lay_common common;
} speed_options;

/* What is asked for: a job or a unit with recordings, the rows of its table from `first` on, what was found. */
typedef struct work {
    lay_job job;
    char *folder; /* for pictures; NULL: none are drawn */
    size_t first, count;
    lay_run_speed *speeds; /* [count] */
    char **pictures;       /* [count], NULL where there is none */
} work;

static void work_free(work *w) {
    for (size_t i = 0; i < w->count; i++) {
        if (w->speeds != NULL) lay_run_speed_free(&w->speeds[i]);
        if (w->pictures != NULL) free(w->pictures[i]);
    }
    free(w->speeds);
    free(w->pictures);
    free(w->folder);
    lay_job_free(&w->job);
}

/* ---- what is asked for ---- */

static lay_status choose_rows(const speed_options *o, const char *run, work *w, lay_error *err) {
    w->count = w->job.table.count;
    if (run != NULL) {
        w->count = 1;
        return lay_cli_find_run(&w->job.table, run, &w->first, err);
    }
    if (!o->csv || w->count == 1) return LAY_OK;
    lay_text runs = {0};
    lay_cli_list_runs(&w->job.table, &runs);
    lay_status status = lay_fail(err, LAY_BAD_USAGE,
                                 "--csv prints one run: name it after the job, by its number or file; the runs are "
                                 "%.400s",
                                 runs.text != NULL ? runs.text : "none");
    lay_text_free(&runs);
    return status;
}

static lay_status load(const speed_options *o, char **operands, int count, work *w, lay_error *err) {
    bool single = o->unit != NULL;
    lay_status status = single ? lay_unit_load(o->unit, &w->job.unit, err) : lay_job_load(operands[0], &w->job, err);
    if (status == LAY_OK && single) status = lay_single_table(&o->single, operands, (size_t)count, &w->job.table, err);
    if (status == LAY_OK) status = choose_rows(o, !single && count > 1 ? operands[1] : NULL, w, err);
    if (status != LAY_OK) {
        w->count = 0;
        return status;
    }
    bool draw = !o->csv && !o->no_plots && (!single || o->output != NULL);
    if (draw) w->folder = o->output != NULL ? lay_strdup(o->output) : lay_path_join(operands[0], "report");
    w->speeds = lay_calloc(w->count, sizeof *w->speeds);
    w->pictures = lay_calloc(w->count, sizeof *w->pictures);
    if (w->speeds != NULL && w->pictures != NULL && (!draw || w->folder != NULL)) return LAY_OK;
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

/* ---- the answer ---- */

static lay_speed_row row_of(const work *w, size_t i) {
    return (lay_speed_row){.spec = &w->job.table.runs[w->first + i],
                           .speed = &w->speeds[i],
                           .number = w->first + i + 1,
                           .picture = w->pictures[i]};
}

/* A picture that fails costs no result: the first reason is kept for the end. */
static lay_status find(const speed_options *o, work *w, lay_error *plot_error, lay_error *err) {
    for (size_t i = 0; i < w->count; i++) {
        const lay_run_spec *spec = &w->job.table.runs[w->first + i];
        lay_status status = lay_run_find_speed(w->job.unit, spec, w->job.table.path, &w->speeds[i], err);
        if (status != LAY_OK) return status;
        lay_speed_row row = row_of(w, i);
        lay_error failed = {0};
        if (w->folder != NULL)
            lay_report_speed_draw(w->job.unit, w->job.table.path, &row, w->folder, &w->pictures[i], &failed);
        if (plot_error->code == LAY_OK) *plot_error = failed;
        if (!o->common.quiet) lay_terminal_progress(i, w->count, NULL);
    }
    return LAY_OK;
}

static lay_status csv(const speed_options *o, const work *w, lay_text *out, lay_error *err) {
    if (!w->speeds[0].found)
        return lay_fail_file(err, LAY_BAD_INPUT, w->job.table.runs[w->first].file,
                             "no speed was found, so there is nothing to print; without --csv the reason is told");
    return lay_report_speed_csv(&w->speeds[0].shaft, o->step, out);
}

static lay_status text_or_json(const speed_options *o, const work *w, lay_text *out, lay_error *err) {
    lay_speed_row *rows = lay_calloc(w->count, sizeof *rows);
    if (rows == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; i < w->count; i++) rows[i] = row_of(w, i);
    lay_status status =
        o->common.json ? lay_report_speed_json(w->job.unit, rows, w->count, false, out)
                       : lay_report_speed_text(w->job.unit, rows, w->count, lay_terminal_colour((lay_colour)o->colour),
                                               lay_terminal_width(), out);
    free(rows);
    return status;
}

static int run(const speed_options *o, char **operands, int count) {
    work w = {0};
    lay_text out = {0};
    lay_error err = {0}, plot_error = {0};
    int exit_status;
    lay_status status = load(o, operands, count, &w, &err);
    if (status == LAY_OK) status = find(o, &w, &plot_error, &err);
    if (status == LAY_OK) status = o->csv ? csv(o, &w, &out, &err) : text_or_json(o, &w, &out, &err);
    exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    if (plot_error.code != LAY_OK) lay_cli_finish(plot_error.code, &plot_error);
    lay_text_free(&out);
    work_free(&w);
    return exit_status;
}

/* ---- the command line ---- */

static const char about[] =
    "Says how fast the reference shaft turned in every run, or in one RUN (its number or file name): from which "
    "source, "
    "how sure, and where no speed was found. A picture of each, rpm below the spectra over time, goes to JOB/report. "
    "Recordings without a job are named one by one together with --unit; pictures are then drawn only with --output. "
    "--csv prints time_s,rpm of one run instead.";
static const char examples[] = "  layshaft speed bench-five-speed\n"
                               "  layshaft speed --csv bench-five-speed 2 >run2.csv\n"
                               "  layshaft speed --unit unit.ini --gear 3 --rpm 1200-3200 third.wav\n";

/* What does not go together; NULL when all is well. */
static const char *conflict(const speed_options *o, int count) {
    if (o->csv && o->common.json) return "--csv and --json are two forms of the answer; choose one";
    if (o->step_given && !o->csv) return "--step goes with --csv";
    if (o->csv && o->output != NULL) return "--output is for pictures; --csv draws none";
    if (count == 0) return o->unit != NULL ? "name the recording after the options" : "JOB is missing";
    if (o->unit == NULL && count > 2) return "one job and at most one of its runs; single recordings need --unit";
    if (o->unit != NULL && o->csv && count > 1) return "--csv prints one recording at a time";
    return NULL;
}

#define OWN_ROWS 6 /* before those that single recordings share */

int lay_cmd_speed(int argc, char **argv) {
    speed_options o = {.step = STEP};
    lay_single *s = &o.single;
    lay_option options[OWN_ROWS + LAY_SINGLE_ROWS] = {
        {"csv", LAY_OPTION_FLAG, &o.csv, NULL, "print time_s,rpm of one run and draw nothing", 0, 0, NULL},
        {"step", LAY_OPTION_NUMBER, &o.step, "S", "seconds from one line of --csv to the next (default 0.05)", 0.001,
         3600, &o.step_given},
        {"unit", LAY_OPTION_TEXT, &o.unit, "UNIT", "unit file for recordings named one by one", 0, 0, NULL},
        {"output", LAY_OPTION_TEXT, &o.output, "DIR", "folder for the pictures (default JOB/report)", 0, 0, NULL},
        {"no-plots", LAY_OPTION_FLAG, &o.no_plots, NULL, "draw no pictures", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    lay_single_options(s, options + OWN_ROWS);
    const lay_usage usage = {.command = "speed",
                             .synopsis = "[options] JOB [RUN]\n[options] --unit UNIT FILE...\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_high = -1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (o.unit == NULL && lay_single_stray(s) != NULL)
        return lay_cli_usage_error(&usage, "--%s is for recordings named with --unit; in a job runs.csv says it",
                                   lay_single_stray(s));
    const char *wrong = conflict(&o, count);
    return wrong != NULL ? lay_cli_usage_error(&usage, "%s", wrong) : run(&o, operands, count);
}
