/* What came of the questions about a unit, as text and JSON. */
#include <layshaft/report.h>

#include "json.h"
#include "page.h"
#include "run_json.h"

lay_status lay_report_unit_text(const lay_unit *unit, const char *path, const lay_text *open, const lay_text *odd,
                                int width, lay_text *out) {
    lay_page page = lay_page_on(out, false, width);
    lay_text line = {0};
    lay_text_add(&line, "%s: %zu meshes, %zu gears, %zu bearings in %s", unit->name, unit->mesh_count, unit->gear_count,
                 unit->bearing_count, path);
    lay_page_wrap(&page, LAY_INK_PLAIN, "", line.failed ? "" : line.text);
    lay_text_free(&line);
    lay_page_sentences(&page, LAY_INK_PLAIN, "   Odd: ", odd);
    lay_page_sentences(&page, LAY_INK_PLAIN, "   Open: ", open);
    lay_text_add(&line, "Look at it with 'layshaft orders %s'; which recordings to make says 'layshaft plan %s'.", path,
                 path);
    lay_page_wrap(&page, LAY_INK_PLAIN, "", line.failed ? "" : line.text);
    lay_text_free(&line);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_unit_json(const lay_unit *unit, const char *path, const lay_text *open, const lay_text *odd,
                                bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, unit);
    lay_json_string(&j, "file", path);
    lay_json_integer(&j, "meshes", (long long)unit->mesh_count);
    lay_json_integer(&j, "gears", (long long)unit->gear_count);
    lay_json_integer(&j, "bearings", (long long)unit->bearing_count);
    lay_json_sentences(&j, "open", open);
    lay_json_sentences(&j, "odd", odd);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
