/* What to mind before shafts turn; common practice, no source. */
#include <layshaft/report.h>

#include "page.h"

static const char cautions[] =
    "On the road: a second person works the laptop; the driver only drives.\n"
    "Fasten sensor, cables and laptop; nothing loose near turning parts: no sleeves, rags, hair or leads.\n"
    "On a stand: secure the unit and what takes its torque; guard couplings and shafts; nobody in line with them.\n"
    "On a lift, or with driven wheels off the ground: follow the lift's own rules, chock the other wheels, nobody "
    "under or in front; mind exhaust fumes.\n"
    "Local codes and licensed practice come first.\n";

lay_status lay_report_cautions(bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text text = {0};
    lay_text_add(&text, "%s", cautions);
    lay_page_heading(&page, LAY_INK_BOLD, "Before anything turns");
    if (!text.failed) lay_page_sentences(&page, LAY_INK_PLAIN, "   - ", &text);
    lay_text_free(&text);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
