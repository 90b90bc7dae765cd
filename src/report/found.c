/* What a teardown showed, as text and JSON. */
#include <layshaft/report.h>

#include <math.h>
#include <string.h>

#include "json.h"
#include "page.h"
#include "run_json.h"
#include "words.h"

const char *lay_report_found_words(lay_found_what what) {
    static const char *const words[] = {"good: looked at, nothing wrong",
                                        "worn, pitted or scuffed teeth, or wrong contact",
                                        "out of true: run-out or a bent shaft",
                                        "chipped or cracked tooth",
                                        "waves on the flanks, from how they were made",
                                        "outer race damaged",
                                        "inner race damaged",
                                        "ball or roller damaged",
                                        "cage worn or broken",
                                        "preload or end play out of limits",
                                        "outside the transmission",
                                        "something else"};
    _Static_assert(sizeof words / sizeof words[0] == LAY_FOUND_COUNT, "words for each");
    return what < LAY_FOUND_COUNT ? words[what] : "something else";
}

/* What the verdict had said of it. */
static void verdict_words(const lay_found *f, lay_text *out) {
    if (!f->outcome[0]) {
        lay_text_add(out, "there was none");
        return;
    }
    lay_text_add(out, "%s", f->outcome);
    if (f->part[0] && f->named == LAY_NAMED_FIRST) lay_text_add(out, ", this part named first");
    if (f->part[0] && f->named == LAY_NAMED_TWIN) lay_text_add(out, ", not to be told from the part named first");
    if (f->part[0] && f->named == LAY_NAMED_LISTED) lay_text_add(out, ", this part named after others");
    if (f->part[0] && f->named == LAY_NAMED_NO) lay_text_add(out, ", this part not named");
    if (isfinite(f->probability)) lay_text_add(out, " (%s)", lay_words_percent(f->probability).text);
}

static void one(const lay_page *page, const lay_found *f) {
    lay_text head = {0}, verdict = {0};
    lay_text_add(&head, "%s%s%s", f->part[0] ? f->part : "the unit as a whole", f->body[0] ? ", " : "", f->body);
    verdict_words(f, &verdict);
    lay_page_wrap(page, LAY_INK_BOLD, "", head.failed ? "" : head.text);
    lay_page_field(page, "Found", "%s", lay_report_found_words(f->what));
    if (f->note[0]) lay_page_field(page, "Note", "%s", f->note);
    lay_page_field(page, "Verdict", "%s", verdict.failed ? "" : verdict.text);
    if (f->when[0]) lay_page_field(page, "When", "%s", f->when);
    lay_text_free(&head);
    lay_text_free(&verdict);
}

lay_status lay_report_found_text(const lay_unit *unit, const lay_found_table *found, bool colour, int width,
                                 lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    lay_text_add(&title, "%s: %s", unit->name, found->count ? "what was found" : "nothing is noted yet");
    lay_page_heading(&page, LAY_INK_BOLD, title.failed ? "" : title.text);
    lay_text_free(&title);
    for (size_t i = 0; i < found->count; i++) {
        lay_page_blank(&page);
        one(&page, &found->rows[i]);
    }
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_found_json(const lay_unit *unit, const lay_found_table *found, bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, unit);
    lay_json_open_array(&j, "found");
    for (size_t i = 0; i < found->count; i++) {
        const lay_found *f = &found->rows[i];
        lay_json_open_object(&j, NULL);
        lay_json_word(&j, "part", f->part);
        lay_json_word(&j, "body", f->body);
        lay_json_string(&j, "what", lay_found_word(f->what));
        lay_json_word(&j, "note", f->note);
        lay_json_word(&j, "when", f->when);
        lay_json_word(&j, "outcome", f->outcome);
        lay_json_string(&j, "named", lay_named_word(f->named));
        lay_json_number(&j, "probability", f->probability, 4);
        lay_json_word(&j, "state", f->state);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
