/* layshaft plan: the fewest recordings that tell every part of a unit from the others. */
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include <layshaft/report.h>

#include "commands.h"
#include "options.h"
#include "record.h"
#include "terminal.h"

typedef struct planning {
    lay_unit *unit;
    lay_run_table table;
    bool has_table;
    lay_plan plan;
} planning;

/* A unit file, or a job: its unit file, and its table where there is one already. */
static lay_status load(planning *w, const char *name, lay_error *err) {
    struct stat info;
    bool folder = stat(name, &info) == 0 && S_ISDIR(info.st_mode);
    char *unit = folder ? lay_path_join(name, "unit.ini") : lay_strdup(name);
    char *table = folder ? lay_path_join(name, "runs.csv") : NULL;
    lay_status status = unit && (table || !folder) ? lay_unit_load(unit, &w->unit, err)
                                                   : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && table && access(table, F_OK) == 0) {
        status = lay_run_table_load(table, &w->table, err);
        w->has_table = status == LAY_OK;
    }
    free(unit);
    free(table);
    return status;
}

static int run(const char *name, const char *gear, const lay_common *common, int colour) {
    planning w = {0};
    lay_text out = {0};
    lay_error err = {0};
    int exit_status = 0;
    lay_status status = load(&w, name, &err);
    int noisy = status == LAY_OK && gear ? lay_unit_gear(w.unit, gear) : -1;
    if (status == LAY_OK && gear && noisy < 0)
        status = lay_record_check(&(lay_record_job){.unit = w.unit}, gear, NULL, &err);
    if (status == LAY_OK) status = lay_plan_make(w.unit, w.has_table ? &w.table : NULL, noisy, &w.plan, &err);
    if (status == LAY_OK && common->json) status = lay_report_plan_json(w.unit, &w.plan, false, &out);
    if (status == LAY_OK && !common->json)
        status =
            lay_report_plan_text(w.unit, &w.plan, lay_terminal_colour((lay_colour)colour), lay_terminal_width(), &out);
    exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    lay_plan_free(&w.plan);
    lay_run_table_free(&w.table);
    lay_unit_free(w.unit);
    return exit_status;
}

static const char about[] =
    "Lists the fewest recordings that tell every part of the unit from the others: parts that sound alike in one gear "
    "are told apart in another, every bearing turns under torque, one gear is driven and coasted; then those in which "
    "every pair carries torque on both flanks. It says what each is for and how to drive it, and of a job which of "
    "them "
    "are there already. 'layshaft record JOB' walks through them.";
static const char examples[] = "  layshaft plan bench-five-speed.ini\n"
                               "  layshaft plan third-whine --gear 3\n";

int lay_cmd_plan(int argc, char **argv) {
    lay_common common = {0};
    int colour = LAY_COLOUR_AUTO;
    const char *gear = NULL;
    const lay_option options[] = {
        {"gear", LAY_OPTION_TEXT, &gear, "GEAR", "gear in which the noise is heard: it comes first", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
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
    int exit_status = lay_options_begin(&usage, argc, argv, &common, &operands, &count);
    return exit_status >= 0 ? exit_status : run(operands[0], gear, &common, colour);
}
