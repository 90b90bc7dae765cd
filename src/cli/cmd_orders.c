/* layshaft orders UNIT: what every part can be heard at. */
#include <layshaft/report.h>

#include <sys/stat.h>

#include <stdlib.h>

#include "commands.h"
#include "options.h"
#include "terminal.h"

typedef struct orders_options {
    const char *gear;
    double resolution;
    int colour;
} orders_options;

/* A job folder stands for the unit file inside it. */
static char *unit_path(const char *operand) {
    struct stat st;
    bool folder = stat(operand, &st) == 0 && S_ISDIR(st.st_mode);
    return folder ? lay_path_join(operand, "unit.ini") : lay_strdup(operand);
}

static lay_status find_gear(const lay_unit *unit, const char *name, int *gear, lay_error *err) {
    *gear = -1;
    if (name == NULL) return LAY_OK;
    *gear = lay_unit_gear(unit, name);
    if (*gear >= 0) return LAY_OK;
    lay_text known = {0};
    for (size_t i = 0; i < unit->gear_count; i++) lay_text_add(&known, "%s%s", i ? ", " : "", unit->gears[i].name);
    lay_status status = lay_fail(err, LAY_BAD_INPUT, "the unit has no gear '%.40s'; its gears are %.400s", name,
                                 known.text ? known.text : "none");
    lay_text_free(&known);
    return status;
}

static lay_status run(const char *operand, const orders_options *o, bool json, lay_text *out, lay_error *err) {
    lay_unit *unit = NULL;
    int gear;
    char *path = unit_path(operand);
    if (path == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = lay_unit_load(path, &unit, err);
    if (status == LAY_OK) status = find_gear(unit, o->gear, &gear, err);
    if (status == LAY_OK && json) status = lay_report_orders_json(unit, gear, o->resolution, false, out, err);
    if (status == LAY_OK && !json)
        status = lay_report_orders_text(unit, gear, o->resolution, lay_terminal_colour((lay_colour)o->colour),
                                        lay_terminal_width(), out, err);
    lay_unit_free(unit);
    free(path);
    return status;
}

int lay_cmd_orders(int argc, char **argv) {
    orders_options o = {0};
    const lay_option options[] = {
        {.name = "gear", .type = LAY_OPTION_TEXT, .value = &o.gear, .argument = "GEAR", .help = "only this gear"},
        {.name = "resolution",
         .type = LAY_OPTION_NUMBER,
         .value = &o.resolution,
         .argument = "ORDERS",
         .low = 1e-4,
         .high = 1.0,
         .help = "lines closer than this count as the same (default 1/64 = 0.0156)"},
        {.name = "colour",
         .type = LAY_OPTION_CHOICE,
         .value = &o.colour,
         .argument = LAY_COLOUR_WORDS,
         .help = "colour in the text (default auto)"},
    };
    const lay_usage usage = {
        .command = "orders",
        .synopsis = "[options] UNIT\n",
        .about = "Shows for every gear of a unit file (or of the job folder that holds it) the ratio, the orders "
                 "of every part, which parts carry the torque, and which cannot be told apart.",
        .examples = "  layshaft orders unit.ini\n  layshaft orders --gear 3 unit.ini\n",
        .options = options,
        .option_count = sizeof options / sizeof options[0],
        .operands_low = 1,
        .operands_high = 1};
    lay_common common;
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    lay_error err = {0};
    lay_text out = {0};
    lay_status status = run(operands[0], &o, common.json, &out, &err);
    exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    return exit_status;
}
