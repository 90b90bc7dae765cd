/* layshaft verify: a unit on the run-in stand against good ones, or against limits by hand. */
#include <layshaft/report.h>

#include <stdio.h>
#include <stdlib.h>

#include "clock.h"
#include "commands.h"
#include "options.h"
#include "terminal.h"

#define FAILED 1 /* exit status */

typedef struct verify_options {
    const char *baseline, *limits, *serial, *by, *output;
    int threads, colour;
    lay_common common;
} verify_options;

typedef struct verifying {
    lay_job job;
    lay_measured measured;
    lay_baseline *baseline;
    lay_limit_table limits;
    lay_verification result;
} verifying;

static void verifying_free(verifying *v) {
    lay_verification_free(&v->result);
    lay_baseline_free(v->baseline);
    lay_limit_table_free(&v->limits);
    lay_measured_free(&v->measured);
    lay_job_free(&v->job);
}

/* Limits first: a wrong file is told before the recordings are read. */
static lay_status verify(const verify_options *o, const char *folder, verifying *v, lay_error *err) {
    lay_status status = o->baseline ? lay_report_baseline_read(o->baseline, &v->baseline, err)
                                    : lay_limit_table_load(o->limits, &v->limits, err);
    if (status == LAY_OK) status = lay_job_load(folder, &v->job, err);
    if (status == LAY_OK)
        status = lay_measure(v->job.unit, &v->job.table, o->threads, o->common.quiet ? NULL : lay_terminal_progress,
                             NULL, &v->measured, err);
    if (status != LAY_OK) return status;
    return o->baseline ? lay_verify(v->baseline, &v->measured, &v->result, err)
                       : lay_verify_by_hand(&v->limits, &v->measured, &v->result, err);
}

static int write_record(const verify_options *o, const char *folder, const lay_run_in *record) {
    lay_error err = {0};
    char *to = o->output ? lay_strdup(o->output) : lay_path_join(folder, "report");
    lay_status status =
        to ? lay_report_verify_write(record, to, &err) : lay_fail(&err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && !o->common.quiet && !o->common.json)
        fprintf(stderr, "\nRecord to print: %s/run-in.html\n", to);
    free(to);
    return lay_cli_finish(status, &err);
}

static int answer(const verify_options *o, const char *folder, const verifying *v) {
    lay_text out = {0};
    lay_moment now = lay_clock_moment();
    lay_run_in record = {.verification = &v->result,
                         .job = &v->measured,
                         .job_name = folder,
                         .baseline_name = o->baseline ? o->baseline : o->limits,
                         .serial = o->serial,
                         .by = o->by,
                         .date = now.text};
    if (o->common.json)
        lay_report_verify_json(&record, false, &out);
    else
        lay_report_verify_text(&record, lay_terminal_colour((lay_colour)o->colour), lay_terminal_width(), &out);
    int exit_status = lay_cli_print(&out);
    lay_text_free(&out);
    int report_status = write_record(o, folder, &record);
    if (exit_status == 0) exit_status = report_status;
    return exit_status != 0 ? exit_status : v->result.pass ? 0 : FAILED;
}

static int run(const verify_options *o, const char *folder) {
    verifying v = {0};
    lay_error err = {0};
    lay_status status = verify(o, folder, &v, &err);
    int exit_status = status == LAY_OK ? answer(o, folder, &v) : lay_cli_finish(status, &err);
    verifying_free(&v);
    return exit_status;
}

static const char about[] =
    "Holds a unit on the run-in stand against what good units of its build sound like, part by part: pass, fail, or "
    "not "
    "tested where the job lacks a gear, load or speed that the baseline has. Record it as those were: same stand, "
    "sensor, "
    "place, gears, loads and speeds. A part fails when it is louder than the mean of the good units by more than a "
    "good "
    "unit may be. The exit status is 0 for pass and 1 otherwise. It is a record to inspect by, never a "
    "certificate; a copy to print goes to JOB/report.";
static const char examples[] = "  layshaft verify unit-0815 --baseline five-speed.json --serial 0815\n"
                               "  layshaft verify unit-0815 --limits limits.csv\n";

int lay_cmd_verify(int argc, char **argv) {
    verify_options o = {0};
    const lay_option options[] = {
        {"baseline", LAY_OPTION_TEXT, &o.baseline, "FILE", "what good units sound like, from 'layshaft baseline'", 0, 0,
         NULL},
        {"limits", LAY_OPTION_TEXT, &o.limits, "FILE",
         "highest levels by hand instead: a CSV table with part, gear, load, limit_db", 0, 0, NULL},
        {"serial", LAY_OPTION_TEXT, &o.serial, "TEXT", "serial number of the unit, for the record", 0, 0, NULL},
        {"by", LAY_OPTION_TEXT, &o.by, "NAME", "who ran it, for the record", 0, 0, NULL},
        {"output", LAY_OPTION_TEXT, &o.output, "DIR", "folder for the record (default JOB/report)", 0, 0, NULL},
        LAY_THREADS_ROW(&o.threads),
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "verify",
                             .synopsis = "[options] JOB --baseline FILE\n[options] JOB --limits FILE\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 1,
                             .operands_high = 1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (!o.baseline && !o.limits)
        return lay_cli_usage_error(&usage, "say against what: --baseline FILE or --limits FILE");
    if (o.baseline && o.limits) return lay_cli_usage_error(&usage, "--baseline and --limits exclude each other");
    return run(&o, operands[0]);
}
