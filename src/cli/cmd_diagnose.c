#define _XOPEN_SOURCE 700 /* realpath */

/* layshaft diagnose: the verdict on a job, or on recordings named on the command line. */
#include <layshaft/report.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "clock.h"
#include "commands.h"
#include "job_list.h"
#include "options.h"
#include "single.h"
#include "terminal.h"

typedef struct diagnose_options {
    const char *unit, *output, *jobs_from;
    lay_single single;
    bool no_plots, no_sound, show;
    int threads, colour;
    lay_common common;
} diagnose_options;

/* What is diagnosed: a job, or a unit with recordings; the same two things in the end. */
typedef struct subject {
    lay_job job;
    char *report_folder; /* NULL: none is written */
} subject;

static void subject_free(subject *s) {
    lay_job_free(&s->job);
    free(s->report_folder);
}

static lay_status subject_load(const diagnose_options *o, char **operands, int count, subject *s, lay_error *err) {
    lay_status status;
    if (o->unit != NULL) {
        status = lay_unit_load(o->unit, &s->job.unit, err);
        if (status == LAY_OK) status = lay_single_table(&o->single, operands, (size_t)count, &s->job.table, err);
    } else {
        status = lay_job_load(operands[0], &s->job, err);
    }
    if (status != LAY_OK || (o->unit != NULL && o->output == NULL)) return status;
    s->report_folder = o->output != NULL ? lay_strdup(o->output) : lay_path_join(operands[0], "report");
    return s->report_folder != NULL ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static int show(const diagnose_options *o, const subject *s, const lay_diagnosis *d) {
    lay_text out = {0};
    if (o->common.json)
        lay_report_json(s->job.unit, &s->job.table, d, false, &out);
    else
        lay_report_text(s->job.unit, &s->job.table, d, lay_terminal_colour((lay_colour)o->colour), lay_terminal_width(),
                        &out);
    int exit_status = lay_cli_print(&out);
    lay_text_free(&out);
    return exit_status;
}

/* The last name of the path, "." and links followed; caller frees. */
static char *folder_name(const char *folder) {
    char *whole = realpath(folder, NULL);
    const char *path = whole != NULL ? whole : folder, *slash = strrchr(path, '/');
    char *name = lay_strdup(slash != NULL && slash[1] ? slash + 1 : path);
    free(whole);
    return name;
}

/* The report goes to its folder after the verdict was shown: a folder that cannot be written costs no result. */
static int write_report(const diagnose_options *o, const subject *s, const lay_diagnosis *d) {
    lay_error err = {0}, missing = {0};
    lay_strings written = {0};
    lay_moment now = lay_clock_moment();
    char *job = NULL;
    if (s->report_folder == NULL) return 0;
    if (s->job.folder != NULL) job = folder_name(s->job.folder);
    if (!o->common.quiet) lay_terminal_note("writing the report");
    lay_status status = lay_report_write(
        s->job.unit, &s->job.table, d,
        &(lay_report_options){
            .folder = s->report_folder, .plots = !o->no_plots, .clips = !o->no_sound, .job = job, .date = now.text},
        &written, &missing, &err);
    if (!o->common.quiet) lay_terminal_note(NULL);
    if (missing.code != LAY_OK) lay_cli_finish(missing.code, &missing);
    if (status == LAY_OK && !o->common.quiet && !o->common.json)
        fprintf(stderr, "\nReport: %s/report.html and %zu more files\n", s->report_folder, written.count - 1);
    free(job);
    lay_strings_free(&written);
    return lay_cli_finish(status, &err);
}

/* Windows are an extra: without a display the verdict is none the worse. */
static void show_windows(const diagnose_options *o, const subject *s, const lay_diagnosis *d) {
    lay_error err = {0};
    if (!o->show) return;
    if (!lay_terminal_display())
        fprintf(stderr, "layshaft: there is no display, so no window was opened\n");
    else if (lay_report_show(s->job.unit, &s->job.table, d, &err) != LAY_OK)
        lay_cli_finish(err.code, &err);
}

static int run(const diagnose_options *o, char **operands, int count) {
    subject s = {0};
    lay_diagnosis d = {0};
    lay_error err = {0};
    int exit_status;
    lay_status status = subject_load(o, operands, count, &s, &err);
    if (status == LAY_OK)
        status = lay_diagnose(s.job.unit, &s.job.table, &(lay_analysis_options){.threads = o->threads},
                              o->common.quiet ? NULL : lay_terminal_progress, NULL, &d, &err);
    if (status == LAY_OK) {
        exit_status = show(o, &s, &d);
        int report_status = write_report(o, &s, &d);
        if (exit_status == 0) exit_status = report_status;
        show_windows(o, &s, &d);
    } else {
        exit_status = lay_cli_finish(status, &err);
    }
    lay_diagnosis_free(&d);
    subject_free(&s);
    return exit_status;
}

/* One job of a list: its report is written as if it had been named alone; what is not said there is in its JSON line.
 */
static lay_status run_one(const char *folder, lay_text *json, void *user, lay_error *err) {
    const diagnose_options *o = user;
    subject s = {0};
    lay_diagnosis d = {0};
    char *operand = lay_strdup(folder);
    lay_status status =
        operand ? subject_load(o, &operand, 1, &s, err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK)
        status =
            lay_diagnose(s.job.unit, &s.job.table, &(lay_analysis_options){.threads = o->threads}, NULL, NULL, &d, err);
    if (status == LAY_OK) status = lay_report_json(s.job.unit, &s.job.table, &d, false, json);
    if (status == LAY_OK && write_report(o, &s, &d) != 0)
        status = lay_fail_file(err, LAY_IO, s.report_folder, "the report could not be written");
    lay_diagnosis_free(&d);
    subject_free(&s);
    free(operand);
    return status;
}

static int run_list(diagnose_options *o) {
    o->common.json = o->common.quiet = true;
    return lay_job_list(o->jobs_from, "diagnosis", run_one, o);
}

static const char about[] =
    "Says which part of the transmission makes the noise and how sure that is. JOB is a folder with unit.ini, runs.csv "
    "and "
    "the recordings; the report goes to JOB/report. Recordings without a job are named one by one together with --unit "
    "and "
    "what is known about them; a report folder is then written only with --output. Recordings are never changed.\n\n"
    "--jobs-from does many jobs, one after the other, and prints a line of JSON for each as soon as it is done; jobs "
    "that "
    "fail say so in their line. Several at a time over different jobs do not get in each other's way.";
static const char examples[] = "  layshaft diagnose bench-five-speed\n"
                               "  layshaft diagnose --unit unit.ini --gear 3 --load drive --rpm 2100 third.wav\n"
                               "  layshaft diagnose --unit unit.ini --gear 4 --tach-channel 2 fourth.wav\n"
                               "  layshaft diagnose --jobs-from jobs.txt >results.jsonl\n";

static lay_usage usage_of(const lay_option *options, size_t count) {
    return (lay_usage){.command = "diagnose",
                       .synopsis = "[options] JOB\n[options] --unit UNIT FILE...\n[options] --jobs-from LIST\n",
                       .about = about,
                       .examples = examples,
                       .options = options,
                       .option_count = count,
                       .operands_low = 0,
                       .operands_high = -1};
}

#define OWN_ROWS 8 /* before those that single recordings share */

int lay_cmd_diagnose(int argc, char **argv) {
    diagnose_options o = {0};
    lay_single *s = &o.single;
    lay_option options[OWN_ROWS + LAY_SINGLE_ROWS] = {
        {"unit", LAY_OPTION_TEXT, &o.unit, "UNIT", "unit file for recordings named one by one", 0, 0, NULL},
        {"output", LAY_OPTION_TEXT, &o.output, "DIR", "folder for the report (default JOB/report)", 0, 0, NULL},
        {"jobs-from", LAY_OPTION_TEXT, &o.jobs_from, "LIST",
         "text file with a job folder per line, - for standard input; prints one line of JSON for each", 0, 0, NULL},
        {"no-plots", LAY_OPTION_FLAG, &o.no_plots, NULL, "write no pictures", 0, 0, NULL},
        {"show", LAY_OPTION_FLAG, &o.show, NULL, "open the first suspect's pictures in windows", 0, 0, NULL},
        {"no-sound", LAY_OPTION_FLAG, &o.no_sound, NULL, "write no sound of the suspects", 0, 0, NULL},
        LAY_THREADS_ROW(&o.threads),
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    lay_single_options(s, options + OWN_ROWS);
    const lay_usage usage = usage_of(options, sizeof options / sizeof options[0]);
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (o.unit == NULL && lay_single_stray(s) != NULL)
        return lay_cli_usage_error(&usage, "--%s is for recordings named with --unit; in a job runs.csv says it",
                                   lay_single_stray(s));
    if (o.jobs_from != NULL) {
        if (count > 0 || o.unit != NULL || o.output != NULL || o.show)
            return lay_cli_usage_error(&usage,
                                       "--jobs-from names all jobs: leave out JOB, --unit, --output and --show");
        return run_list(&o);
    }
    if (count == 0)
        return lay_cli_usage_error(&usage, o.unit != NULL ? "name the recordings after the options" : "JOB is missing");
    if (o.unit == NULL && count > 1)
        return lay_cli_usage_error(&usage, "one job at a time; single recordings need --unit");
    return run(&o, operands, count);
}
