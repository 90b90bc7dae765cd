/* layshaft ledger: how often the verdicts on a folder of jobs were right. */
#include <layshaft/report.h>

#include "commands.h"
#include "options.h"
#include "terminal.h"

static int run(const char *folder, const lay_common *common, int colour) {
    lay_ledger ledger = {0};
    lay_text out = {0};
    lay_error err = {0};
    lay_status status = lay_ledger_read(folder, &ledger, &err);
    if (status == LAY_OK && common->json) status = lay_report_ledger_json(folder, &ledger, false, &out);
    if (status == LAY_OK && !common->json)
        status = lay_report_ledger_text(folder, &ledger, lay_terminal_colour((lay_colour)colour), lay_terminal_width(),
                                        &out);
    int exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    lay_ledger_free(&ledger);
    return exit_status;
}

static const char about[] =
    "Compares the verdicts on all jobs in FOLDER and below it with what 'layshaft found' noted after the teardowns: "
    "how "
    "often the part that was named was at fault, how often the noise was outside, what was missed, which good parts "
    "were "
    "accused. So a shop learns how far to trust a verdict, and of which kind. Nothing is written.";
static const char examples[] = "  layshaft ledger jobs-2026\n";

int lay_cmd_ledger(int argc, char **argv) {
    lay_common common = {0};
    int colour = LAY_COLOUR_AUTO;
    const lay_option options[] = {
        {"colour", LAY_OPTION_CHOICE, &colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "ledger",
                             .synopsis = "[options] FOLDER\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 1,
                             .operands_high = 1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &common, &operands, &count);
    return exit_status >= 0 ? exit_status : run(operands[0], &common, colour);
}
