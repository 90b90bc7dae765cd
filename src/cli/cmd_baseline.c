#define _XOPEN_SOURCE 700 /* realpath */

/* layshaft baseline: what good units of one build sound like. */
#include <layshaft/report.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands.h"
#include "options.h"
#include "terminal.h"

typedef struct baseline_options {
    int threads, colour;
    lay_common common;
} baseline_options;

/* The folder's own name and the one above it: short, and still its own in a file of many units. Caller frees. */
static char *unit_name(const char *folder) {
    char *whole = realpath(folder, NULL);
    const char *path = whole ? whole : folder, *slash = strrchr(path, '/');
    while (slash && slash > path && slash[-1] != '/') slash--;
    char *name = lay_strdup(slash && slash[0] ? slash : path);
    free(whole);
    return name;
}

static lay_status add_job(const baseline_options *o, const char *folder, lay_baseline *b, lay_error *err) {
    lay_job job = {0};
    lay_measured measured = {0};
    char *name = unit_name(folder);
    lay_status status = name ? lay_job_load(folder, &job, err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK)
        status = lay_measure(job.unit, &job.table, o->threads, o->common.quiet ? NULL : lay_terminal_progress, NULL,
                             &measured, err);
    if (status == LAY_OK) status = lay_baseline_add(b, &measured, name, err);
    lay_measured_free(&measured);
    lay_job_free(&job);
    free(name);
    return status;
}

/* What is there is grown, never replaced. */
static lay_status open_baseline(const char *path, lay_baseline **out, lay_error *err) {
    if (access(path, F_OK) == 0) return lay_report_baseline_read(path, out, err);
    *out = lay_baseline_new();
    return *out ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static lay_status save(const char *path, const lay_baseline *b, lay_error *err) {
    lay_text text = {0};
    lay_status status = lay_report_baseline_file(b, &text);
    status = status == LAY_OK ? lay_write_file(path, text.text, text.length, err)
                              : lay_fail(err, status, "not enough memory for the baseline");
    lay_text_free(&text);
    return status;
}

static int answer(const baseline_options *o, const char *path, const lay_baseline *b, lay_error *err) {
    lay_text out = {0};
    lay_limits limits = {0};
    bool any = b->unit_count >= LAY_BASELINE_LEAST;
    lay_status status = any ? lay_limits_find(b, &limits, err) : LAY_OK;
    if (status != LAY_OK) return lay_cli_finish(status, err);
    if (o->common.json)
        lay_report_baseline_json(path, b, any ? &limits : NULL, false, &out);
    else if (!o->common.quiet)
        lay_report_baseline_text(path, b, any ? &limits : NULL, lay_terminal_colour((lay_colour)o->colour),
                                 lay_terminal_width(), &out);
    int exit_status = lay_cli_print(&out);
    lay_text_free(&out);
    lay_limits_free(&limits);
    return exit_status;
}

static int run(const baseline_options *o, char **operands, size_t count) {
    lay_baseline *b = NULL;
    lay_error err = {0};
    int exit_status;
    lay_status status = open_baseline(operands[0], &b, &err);
    for (size_t i = 1; i < count && status == LAY_OK; i++) status = add_job(o, operands[i], b, &err);
    if (status == LAY_OK && count > 1) status = save(operands[0], b, &err);
    exit_status = status == LAY_OK ? answer(o, operands[0], b, &err) : lay_cli_finish(status, &err);
    lay_baseline_free(b);
    return exit_status;
}

static const char about[] =
    "Learns from jobs of units known to be good what each part sounds like, in every gear, under every load and at "
    "every "
    "speed, and writes it to OUT, a JSON file for 'layshaft verify'. When OUT is there the jobs are added to it. Each "
    "job "
    "is one unit; all must be of one build, recorded alike: same stand, sensor, place, gears, loads and speeds. A unit "
    "that stands out from the others is named and left out of the limits. With OUT alone it says what is in it.";
static const char examples[] = "  layshaft baseline five-speed.json good-1 good-2 good-3\n"
                               "  layshaft baseline five-speed.json good-4\n"
                               "  layshaft baseline five-speed.json\n";

int lay_cmd_baseline(int argc, char **argv) {
    baseline_options o = {0};
    const lay_option options[] = {
        LAY_THREADS_ROW(&o.threads),
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "baseline",
                             .synopsis = "[options] OUT.json JOB...\n[options] OUT.json\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 1,
                             .operands_high = -1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (count == 1 && access(operands[0], F_OK) != 0)
        return lay_cli_usage_error(&usage, "there is no '%s' yet: name the jobs of good units after it", operands[0]);
    return run(&o, operands, (size_t)count);
}
