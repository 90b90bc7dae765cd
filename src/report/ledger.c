/* How often the verdicts of a shop were right, as text and JSON. */
#include <layshaft/report.h>

#include "json.h"
#include "page.h"
#include "run_json.h"
#include "words.h"

#define Z95 1.96

/* "11 of 12 right; the true share may be 65 to 99 %" */
static void share_words(const lay_ledger_count *c, lay_text *out) {
    double low, high;
    lay_share_interval(c->right, c->of, Z95, &low, &high);
    lay_text_add(out, "%d of %d right; the true share may be %s to %s %%", c->right, c->of,
                 lay_words_number(100 * low, 0).text, lay_words_number(100 * high, 0).text);
}

static void share(const lay_page *page, const char *label, const lay_ledger_count *c) {
    lay_text words = {0};
    if (c->of == 0) return;
    share_words(c, &words);
    lay_page_field(page, label, "%s", words.failed ? "" : words.text);
    lay_text_free(&words);
}

static void verdicts(const lay_page *page, const lay_ledger *l) {
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "Verdicts");
    share(page, "Attention", &l->attention);
    share(page, "Outside", &l->outside);
    share(page, "Clear", &l->clear);
    if (l->inconclusive) lay_page_field(page, "Could not tell", "%d", l->inconclusive);
    if (l->undecided)
        lay_page_field(page, "Open", "%d: what was found neither confirms nor refutes the verdict", l->undecided);
    if (l->unjudged) lay_page_field(page, "No verdict", "%d: found without a diagnosis", l->unjudged);
}

static void sureness(const lay_page *page, const lay_ledger *l) {
    static const char *const labels[LAY_LEDGER_BINS] = {"90 % and up", "50 to 90 %", "below 50 %"};
    bool any = false;
    for (size_t i = 0; i < LAY_LEDGER_BINS; i++) any = any || l->bins[i].of > 0;
    if (!any) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "By how sure the verdict was of the part it named");
    for (size_t i = 0; i < LAY_LEDGER_BINS; i++) share(page, labels[i], &l->bins[i]);
}

static void kind(const lay_page *page, lay_found_what what, const lay_ledger_kind *k) {
    lay_text words = {0};
    if (k->found == 0) return;
    lay_text_add(&words, "%s: %d found, %d named first, %d named after others, %d not named",
                 lay_report_found_words(what), k->found, k->first, k->listed, k->found - k->first - k->listed);
    if (k->cleared) lay_text_add(&words, "; %d said to have nothing against it", k->cleared);
    lay_page_wrap(page, LAY_INK_PLAIN, "   - ", words.failed ? "" : words.text);
    lay_text_free(&words);
}

static void faults(const lay_page *page, const lay_ledger *l) {
    const lay_ledger_kind *good = &l->kinds[LAY_FOUND_GOOD];
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "By what was found");
    for (int k = LAY_FOUND_GOOD + 1; k < LAY_FOUND_COUNT; k++) kind(page, (lay_found_what)k, &l->kinds[k]);
    if (good->found == 0) return;
    lay_text words = {0};
    lay_text_add(&words, "good parts looked at: %d, %d of them accused", good->found, good->first);
    lay_page_wrap(page, good->first ? LAY_INK_YELLOW : LAY_INK_PLAIN, "   - ", words.failed ? "" : words.text);
    lay_text_free(&words);
}

static void skipped(const lay_page *page, const lay_ledger *l) {
    if (l->skipped.count == 0) return;
    lay_page_blank(page);
    for (size_t i = 0; i < l->skipped.count; i++) lay_page_wrap(page, LAY_INK_YELLOW, "Skipped: ", l->skipped.items[i]);
}

lay_status lay_report_ledger_text(const char *folder, const lay_ledger *l, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    if (l->jobs > 0)
        lay_text_add(&title, "%s: %d job%s with findings", folder, l->jobs, l->jobs == 1 ? "" : "s");
    else
        lay_text_add(&title, "%s: no job here tells what was found", folder);
    lay_page_heading(&page, LAY_INK_BOLD, title.failed ? "" : title.text);
    lay_text_free(&title);
    if (l->jobs > 0) {
        verdicts(&page, l);
        sureness(&page, l);
        faults(&page, l);
    } else {
        lay_page_wrap(&page, LAY_INK_PLAIN, "",
                      "After a teardown note it with 'layshaft found JOB --part PART --what WHAT'.");
    }
    skipped(&page, l);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

static void json_share(lay_json *j, const char *name, const lay_ledger_count *c) {
    double low, high;
    lay_share_interval(c->right, c->of, Z95, &low, &high);
    lay_json_open_object(j, name);
    lay_json_integer(j, "of", c->of);
    lay_json_integer(j, "right", c->right);
    lay_json_number(j, "low", low, 4);
    lay_json_number(j, "high", high, 4);
    lay_json_close_object(j);
}

static void json_kinds(lay_json *j, const lay_ledger *l) {
    lay_json_open_object(j, "found");
    for (int k = 0; k < LAY_FOUND_COUNT; k++) {
        const lay_ledger_kind *kind = &l->kinds[k];
        if (kind->found == 0) continue;
        lay_json_open_object(j, lay_found_word((lay_found_what)k));
        lay_json_integer(j, "parts", kind->found);
        lay_json_integer(j, "named_first", kind->first);
        lay_json_integer(j, "named_later", kind->listed);
        lay_json_integer(j, "cleared", kind->cleared);
        lay_json_close_object(j);
    }
    lay_json_close_object(j);
}

lay_status lay_report_ledger_json(const char *folder, const lay_ledger *l, bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, NULL);
    lay_json_string(&j, "folder", folder);
    lay_json_integer(&j, "jobs", l->jobs);
    json_share(&j, "attention", &l->attention);
    json_share(&j, "outside", &l->outside);
    json_share(&j, "clear", &l->clear);
    lay_json_integer(&j, "inconclusive", l->inconclusive);
    lay_json_integer(&j, "undecided", l->undecided);
    lay_json_integer(&j, "unjudged", l->unjudged);
    lay_json_open_array(&j, "by_probability");
    for (size_t i = 0; i < LAY_LEDGER_BINS; i++) {
        lay_json_open_object(&j, NULL);
        lay_json_number(&j, "from", lay_ledger_bin(i), 2);
        lay_json_integer(&j, "of", l->bins[i].of);
        lay_json_integer(&j, "right", l->bins[i].right);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    json_kinds(&j, l);
    lay_json_open_array(&j, "skipped");
    for (size_t i = 0; i < l->skipped.count; i++) lay_json_string(&j, NULL, l->skipped.items[i]);
    lay_json_close_array(&j);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
