/* The recordings to make as a page to print: boxes to tick, room for notes. */
#include "html.h"
#include "markup.h"

static lay_status drawing(const lay_unit *unit, int gear, lay_text *out, lay_error *err) {
    lay_text svg = {0};
    bool drawn = false;
    lay_status status = lay_report_drawing(unit, gear, &drawn, &svg, err);
    if (status == LAY_OK && drawn) lay_text_add(out, "<figure class=\"unit plan\">\n%s</figure>\n", svg.text);
    lay_text_free(&svg);
    return status;
}

static void row(const lay_unit *unit, const lay_plan_item *item, size_t number, lay_text *out) {
    lay_text_add(out, "<tr><td><span class=\"tick%s\"></span> %zu. ", item->done ? " done" : "", number);
    lay_markup_format(out, "gear %s, %s", unit->gears[item->gear].name,
                      item->load == LAY_LOAD_NONE ? "no load" : lay_load_name(item->load));
    lay_text_add(out, "%s</td><td>", item->done ? " (there already)" : "");
    lay_markup_format(out, "%s%s%s", lay_report_how_to_drive(item->load), item->why[0] ? "; what for: " : "",
                      item->why);
    lay_text_add(out, "</td><td>file <span class=\"blank\"></span> rpm <span class=\"blank\"></span></td></tr>\n");
}

static void table(const lay_unit *unit, const lay_plan *plan, bool first, lay_text *out) {
    bool any = false;
    for (size_t i = 0; i < plan->count; i++) {
        if (plan->items[i].first != first) continue;
        if (!any)
            lay_text_add(
                out, "<h3>%s</h3>\n<table class=\"sheet\">\n<tr><th>Recording</th><th>How</th><th>Noted</th></tr>\n",
                first ? "First" : "Then, to hear every pair under torque on both flanks");
        any = true;
        row(unit, &plan->items[i], i + 1, out);
    }
    if (any) lay_text_add(out, "</table>\n");
}

static void inseparable(const lay_plan *plan, lay_text *out) {
    if (plan->inseparable.length == 0) return;
    lay_text_add(out, "<h3>What no recording tells apart by its orders</h3>\n<p>Sidebands may tell them apart: ");
    lay_markup_text(out, plan->inseparable.text); /* its line ends become blanks */
    lay_text_add(out, "</p>\n");
}

lay_status lay_report_plan_sheet(const lay_unit *unit, const lay_plan *plan, const lay_strings *asked, int gear,
                                 lay_text *out, lay_error *err) {
    lay_html_begin(out, unit->name);
    lay_text_add(out, "<header></header><main>\n");
    lay_html_element(out, "h1", "Recordings to make");
    lay_text_add(out, "<p class=\"form\">Unit: ");
    lay_markup_text(out, unit->name);
    lay_text_add(
        out,
        " &nbsp; Serial: <span class=\"blank wide\"></span> Date: <span class=\"blank\"></span> By: <span "
        "class=\"blank wide\"></span></p>\n<p class=\"form\">Sensor and place: <span class=\"blank wide\"></span></p>\n"
        "<p class=\"caution\"><b>Caution:</b> two people, the driver only drives; nothing loose near pedals "
        "or turning parts; what cannot be driven legally and calmly is left out. Local codes and licensed "
        "practice come first.</p>\n");
    if (asked != NULL && asked->count > 0) lay_html_element(out, "h3", "The verdict on this job asks for");
    if (asked != NULL) lay_html_list(out, asked);
    lay_status status = drawing(unit, gear, out, err);
    if (status != LAY_OK) return status;
    table(unit, plan, true, out);
    table(unit, plan, false, out);
    inseparable(plan, out);
    lay_text_add(
        out, "<p>Sensor in one place for all of them, on the case near the bearings of the shafts in question. Warm "
             "oil. Add the gear and load in which the customer hears the noise if it is not among them.</p>\n");
    lay_html_end(out, "'layshaft record JOB' walks through these recordings.");
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory for the sheet") : LAY_OK;
}
