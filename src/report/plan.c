/* The recordings that are worth making, as text and JSON. */
#include <layshaft/report.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

/* How a recording is made; common practice, no source. */
const char *lay_report_how_to_drive(lay_load load) {
    switch (load) {
    case LAY_LOAD_DRIVE:
        return "pull steadily from low to high speed, such as 1200 to 3200 rpm, in 15 to 20 s, foot on the throttle "
               "throughout";
    case LAY_LOAD_COAST:
        return "from high speed, such as 3200 rpm, foot off the throttle, in gear, let it slow down to 1200 rpm in 15 "
               "to 20 s";
    case LAY_LOAD_STEADY:
        return "hold the speed for 20 s";
    case LAY_LOAD_NONE:
        return "stand still, clutch engaged, raise the engine slowly from idle to 3000 rpm in 15 to 20 s";
    case LAY_LOAD_UNKNOWN:
    case LAY_LOAD_COUNT:
        break;
    }
    return "as it was driven when the noise was heard, 20 s";
}

static void item(const lay_page *page, const lay_unit *unit, const lay_plan_item *i, size_t number) {
    lay_text head = {0};
    lay_text_add(&head, "%zu. gear %s, %s%s", number, unit->gears[i->gear].name,
                 i->load == LAY_LOAD_NONE ? "no load" : lay_load_name(i->load), i->done ? ": recorded already" : "");
    lay_page_wrap(page, i->done ? LAY_INK_DIM : LAY_INK_BOLD, "", head.failed ? "" : head.text);
    lay_text_free(&head);
    if (!i->done) lay_page_field(page, "How", "%s", lay_report_how_to_drive(i->load));
    if (i->why[0]) lay_page_field(page, "What for", "%s", i->why);
}

/* After a diagnosis that could not settle it. */
static void asked_for(const lay_page *page, const lay_strings *asked) {
    if (asked == NULL || asked->count == 0) return;
    lay_page_wrap(page, LAY_INK_BOLD, "",
                  asked->count == 1 ? "The verdict on this job asks for one recording more:"
                                    : "The verdict on this job asks for more recordings:");
    for (size_t i = 0; i < asked->count; i++) lay_page_wrap(page, LAY_INK_PLAIN, "   - ", asked->items[i]);
    lay_page_blank(page);
}

lay_status lay_report_plan_text(const lay_unit *unit, const lay_plan *plan, const lay_strings *asked, bool colour,
                                int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    asked_for(&page, asked);
    lay_text_add(&title, "%s: ", unit->name);
    if (plan->first > 0)
        lay_text_add(&title, "%zu recording%s to make first", plan->first, plan->first == 1 ? "" : "s");
    else
        lay_text_add(&title, "the recordings that come first are there");
    if (plan->open > plan->first) lay_text_add(&title, ", %zu more for every pair", plan->open - plan->first);
    lay_page_wrap(&page, LAY_INK_BOLD, "", title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_page_blank(&page);
    bool rest = false;
    for (size_t i = 0; i < plan->count; i++) {
        if (!plan->items[i].first && !rest) {
            lay_page_blank(&page);
            lay_page_wrap(&page, LAY_INK_BOLD, "", "Then, to hear every pair under torque on both flanks");
            rest = true;
        }
        item(&page, unit, &plan->items[i], i + 1);
    }
    if (plan->inseparable.length > 0) {
        lay_page_blank(&page);
        lay_page_wrap(&page, LAY_INK_PLAIN, "", "No recording tells these apart by their orders; sidebands may:");
        lay_page_sentences(&page, LAY_INK_PLAIN, "   - ", &plan->inseparable);
    }
    lay_page_blank(&page);
    lay_page_wrap(
        &page, LAY_INK_PLAIN, "",
        "Sensor in one place for all of them, on the case near the bearings of the shafts in question. Add the "
        "gear and load in which the customer hears the noise if it is not among them. Warm oil.");
    lay_page_wrap(&page, LAY_INK_PLAIN, "",
                  "Road tests take two people: the driver only drives. Local codes and licensed practice come first.");
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_plan_step(const lay_unit *unit, const lay_plan *plan, size_t at, size_t number, bool colour,
                                int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    const lay_plan_item *i = &plan->items[at];
    lay_text head = {0};
    lay_page_blank(&page);
    if (!i->first && (at == 0 || plan->items[at - 1].first))
        lay_page_wrap(&page, LAY_INK_PLAIN, "",
                      "The recordings that come first are made. What follows hears every pair under torque.");
    lay_text_add(&head, "%zu of %zu: gear %s, %s", number, plan->open, unit->gears[i->gear].name,
                 i->load == LAY_LOAD_NONE ? "no load" : lay_load_name(i->load));
    lay_page_wrap(&page, LAY_INK_BOLD, "", head.failed ? "" : head.text);
    lay_text_free(&head);
    lay_page_field(&page, "How", "%s", lay_report_how_to_drive(i->load));
    if (i->why[0]) lay_page_field(&page, "What for", "%s", i->why);
    lay_page_field(&page, "Sensor", "in one place for all: on the case, near the bearings of the shafts in question");
    lay_page_blank(&page);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_plan_json(const lay_unit *unit, const lay_plan *plan, const lay_strings *asked, bool indented,
                                lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, unit);
    lay_json_open_array(&j, "asked");
    for (size_t i = 0; asked != NULL && i < asked->count; i++) lay_json_string(&j, NULL, asked->items[i]);
    lay_json_close_array(&j);
    lay_json_open_array(&j, "recordings");
    for (size_t i = 0; i < plan->count; i++) {
        const lay_plan_item *item = &plan->items[i];
        lay_json_open_object(&j, NULL);
        lay_json_string(&j, "gear", unit->gears[item->gear].name);
        lay_json_string(&j, "load", lay_load_name(item->load));
        lay_json_bool(&j, "first", item->first);
        lay_json_bool(&j, "done", item->done);
        lay_json_string(&j, "how", lay_report_how_to_drive(item->load));
        lay_json_word(&j, "why", item->why);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_sentences(&j, "inseparable", &plan->inseparable);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
