/* layshaft orders UNIT: what every part can be heard at. */
#include <layshaft/report.h>

#include <unistd.h>

#include "commands.h"
#include "options.h"
#include "terminal.h"
#include "unit_name.h"

typedef struct orders_options {
    const char *gear, *drawing;
    double resolution;
    int colour;
} orders_options;

static lay_status report(const lay_unit *unit, int gear, const orders_options *o, bool json, lay_text *out,
                         lay_error *err) {
    if (json) return lay_report_orders_json(unit, gear, o->resolution, false, out, err);
    return lay_report_orders_text(unit, gear, o->resolution, lay_terminal_colour((lay_colour)o->colour),
                                  lay_terminal_width(), out, err);
}

/* A file that is there is left alone. */
static lay_status draw(const lay_unit *unit, int gear, const char *path, lay_error *err) {
    lay_text svg = {0};
    bool drawn = false;
    if (access(path, F_OK) == 0)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this file is there already; choose another name");
    lay_status status = lay_report_drawing(unit, gear, &drawn, &svg, err);
    if (status == LAY_OK && !drawn)
        status = lay_fail(err, LAY_BAD_INPUT, "this unit has no gear pairs that could be drawn");
    if (status == LAY_OK) status = lay_write_file(path, svg.text, svg.length, err);
    lay_text_free(&svg);
    return status;
}

static lay_status run(const char *operand, const orders_options *o, bool json, lay_text *out, lay_error *err) {
    lay_unit *unit = NULL;
    int gear = -1;
    lay_status status = lay_cli_load_unit(operand, &unit, err);
    if (status == LAY_OK && o->gear) status = lay_cli_find_gear(unit, o->gear, &gear, err);
    if (status == LAY_OK) status = report(unit, gear, o, json, out, err);
    if (status == LAY_OK && o->drawing) status = draw(unit, gear, o->drawing, err);
    lay_unit_free(unit);
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
        {.name = "drawing",
         .type = LAY_OPTION_TEXT,
         .value = &o.drawing,
         .argument = "FILE",
         .help = "a side view of the unit as SVG, with the flow of torque in the gear; a new file"},
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
                 "of every part, which parts carry the torque, and which cannot be told apart. With --drawing "
                 "one sees whether the file says what stands on the bench.",
        .examples = "  layshaft orders unit.ini\n  layshaft orders --gear 3 unit.ini\n"
                    "  layshaft orders --gear 3 --drawing unit.svg unit.ini\n",
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
