/* layshaft plan: the fewest recordings that tell every part of a unit from the others. */
#include <stdlib.h>
#include <unistd.h>

#include <layshaft/report.h>

#include "commands.h"
#include "options.h"
#include "terminal.h"
#include "unit_name.h"

typedef struct planning {
    lay_unit *unit;
    lay_run_table table;
    bool has_table;
    lay_plan plan;
    lay_strings asked; /* by the verdict of the job, where it has one */
} planning;

typedef struct plan_options {
    const char *gear, *sheet;
    int colour;
    lay_common common;
} plan_options;

/* Of a job the table as well, where there is one already; a unit file is no folder and has none in it. */
static lay_status load(planning *w, const char *name, lay_error *err) {
    lay_status status = lay_cli_load_unit(name, &w->unit, err);
    char *table = lay_path_join(name, "runs.csv");
    if (status == LAY_OK && !table) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && access(table, F_OK) == 0) {
        status = lay_run_table_load(table, &w->table, err);
        w->has_table = status == LAY_OK;
    }
    free(table);
    return status;
}

/* A report that cannot be read asks for nothing: the plan stands without it. */
static void load_asked(planning *w, const char *name) {
    char *report = lay_path_join(name, "report/report.json");
    if (report && access(report, F_OK) == 0) lay_report_asked(report, &w->asked, NULL);
    free(report);
}

/* A file that is there is left alone. */
static lay_status write_sheet(const planning *w, const char *path, int gear, lay_error *err) {
    lay_text page = {0};
    if (access(path, F_OK) == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this file is there already; choose another name");
    lay_status status = lay_report_plan_sheet(w->unit, &w->plan, &w->asked, gear, &page, err);
    if (status == LAY_OK) status = lay_write_file(path, page.text, page.length, err);
    lay_text_free(&page);
    return status;
}

static lay_status answer(const planning *w, const plan_options *o, lay_text *out) {
    if (o->common.json) return lay_report_plan_json(w->unit, &w->plan, &w->asked, false, out);
    if (o->sheet && o->common.quiet) return LAY_OK;
    return lay_report_plan_text(w->unit, &w->plan, &w->asked, lay_terminal_colour((lay_colour)o->colour),
                                lay_terminal_width(), out);
}

static int run(const char *name, const plan_options *o) {
    planning w = {0};
    lay_text out = {0};
    lay_error err = {0};
    int noisy = -1;
    lay_status status = load(&w, name, &err);
    if (status == LAY_OK && o->gear) status = lay_cli_find_gear(w.unit, o->gear, &noisy, &err);
    if (status == LAY_OK) status = lay_plan_make(w.unit, w.has_table ? &w.table : NULL, noisy, &w.plan, &err);
    if (status == LAY_OK) load_asked(&w, name);
    if (status == LAY_OK && o->sheet) status = write_sheet(&w, o->sheet, noisy, &err);
    if (status == LAY_OK) status = answer(&w, o, &out);
    int exit_status = status != LAY_OK ? lay_cli_finish(status, &err) : out.length > 0 ? lay_cli_print(&out) : 0;
    lay_text_free(&out);
    lay_strings_free(&w.asked);
    lay_plan_free(&w.plan);
    lay_run_table_free(&w.table);
    lay_unit_free(w.unit);
    return exit_status;
}

static const char about[] =
    "Lists the fewest recordings that tell every part of the unit from the others: parts that sound alike in one gear "
    "are told apart in another, every bearing turns under torque, one gear is driven and coasted; then those in which "
    "every pair carries torque on both flanks. It says what each is for and how to drive it, and of a job which of "
    "them are there already. After a diagnosis that could not settle it, the recording that would comes first. "
    "'layshaft "
    "record JOB' walks through them; --sheet writes a page to print and take along.";
static const char examples[] = "  layshaft plan bench-five-speed.ini\n"
                               "  layshaft plan third-whine --gear 3\n"
                               "  layshaft plan third-whine --sheet recordings.html\n";

int lay_cmd_plan(int argc, char **argv) {
    plan_options o = {0};
    const lay_option options[] = {
        {"gear", LAY_OPTION_TEXT, &o.gear, "GEAR", "gear in which the noise is heard: it comes first", 0, 0, NULL},
        {"sheet", LAY_OPTION_TEXT, &o.sheet, "FILE", "HTML page to print, with boxes to tick; a new file", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "plan",
                             .synopsis = "[options] UNIT|JOB\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 1,
                             .operands_high = 1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    return exit_status >= 0 ? exit_status : run(operands[0], &o);
}
