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
} planning;

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

static int run(const char *name, const char *gear, const lay_common *common, int colour) {
    planning w = {0};
    lay_text out = {0};
    lay_error err = {0};
    int exit_status = 0;
    lay_status status = load(&w, name, &err);
    int noisy = -1;
    if (status == LAY_OK && gear) status = lay_cli_find_gear(w.unit, gear, &noisy, &err);
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
    "them are there already. 'layshaft record JOB' walks through them.";
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
