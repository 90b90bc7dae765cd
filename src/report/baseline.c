/* What a baseline holds and how sharp it is, as text and JSON. */
#include <layshaft/report.h>

#include <math.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

static void needs(const lay_baseline *b, const lay_page *page) {
    size_t n = b->unit_count;
    if (n < LAY_BASELINE_LEAST)
        lay_page_field(page, "Needs", "%zu more good unit%s before it sets limits; %d make them sharp",
                       LAY_BASELINE_LEAST - n, LAY_BASELINE_LEAST - n == 1 ? "" : "s", LAY_BASELINE_ENOUGH);
    else if (n < LAY_BASELINE_ENOUGH)
        lay_page_field(page, "Needs", "%zu more good unit%s for sharp limits", LAY_BASELINE_ENOUGH - n,
                       LAY_BASELINE_ENOUGH - n == 1 ? "" : "s");
    else
        lay_page_field(page, "Needs", "no more; each further unit sharpens it a little");
}

static bool whole(const lay_limit *l) {
    return l->harmonic == 0 && l->condition < 0 && !isnan(l->limit_db);
}

static void part_limits(const lay_limits *limits, const lay_page *page) {
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "How much louder than the mean of the good units a part may be");
    for (size_t i = 0; i < limits->count; i++) {
        const lay_limit *l = &limits->items[i];
        if (!whole(l)) continue;
        lay_text line = {0};
        lay_text_add(&line, "%s: %s dB", l->part, lay_words_number(l->limit_db, 1).text);
        lay_text_add(&line, " (spread %s dB", lay_words_number(l->spread_db, 1).text);
        lay_text_add(&line, " over %d units)", l->units);
        lay_page_wrap(page, LAY_INK_PLAIN, "   - ", line.failed ? "" : line.text);
        lay_text_free(&line);
    }
}

static void left_out(const lay_baseline *b, const lay_limits *limits, const lay_page *page) {
    for (size_t u = 0; u < limits->unit_count; u++) {
        lay_text line = {0};
        if (limits->used[u]) continue;
        lay_text_add(&line, "%s stands out and is left out of the limits: %s. Look at it before it counts as good.",
                     b->units[u], limits->odd[u] ? limits->odd[u] : "it is much louder than the others");
        lay_page_wrap(page, LAY_INK_YELLOW, "   - ", line.failed ? "" : line.text);
        lay_text_free(&line);
    }
}

lay_status lay_report_baseline_text(const char *path, const lay_baseline *b, const lay_limits *limits, bool colour,
                                    int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    lay_text_add(&title, "%s: %zu good unit%s of %s", path, b->unit_count, b->unit_count == 1 ? "" : "s", b->unit);
    lay_page_wrap(&page, LAY_INK_BOLD, "", title.failed ? "" : title.text);
    lay_text_free(&title);
    for (size_t u = 0; u < b->unit_count; u++) lay_page_field(&page, u ? "" : "Units", "%s", b->units[u]);
    for (size_t c = 0; c < b->condition_count; c++)
        lay_page_field(&page, c ? "" : "Covers", "gear %s, %s", b->conditions[c].gear,
                       lay_words_load(b->conditions[c].load));
    needs(b, &page);
    if (limits) {
        left_out(b, limits, &page);
        part_limits(limits, &page);
    }
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_baseline_json(const char *path, const lay_baseline *b, const lay_limits *limits, bool indented,
                                    lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_object(&j, NULL);
    lay_json_string(&j, "layshaft", LAY_VERSION);
    lay_json_integer(&j, "format", 1);
    lay_json_string(&j, "unit", b->unit);
    lay_json_string(&j, "file", path);
    lay_json_integer(&j, "count", (long long)b->unit_count);
    lay_json_integer(&j, "enough", LAY_BASELINE_ENOUGH);
    lay_json_integer(&j, "needed",
                     b->unit_count < LAY_BASELINE_ENOUGH ? (long long)(LAY_BASELINE_ENOUGH - b->unit_count) : 0);
    lay_json_open_array(&j, "units");
    for (size_t u = 0; u < b->unit_count; u++) {
        lay_json_open_object(&j, NULL);
        lay_json_string(&j, "job", b->units[u]);
        lay_json_bool(&j, "used", !limits || limits->used[u]);
        lay_json_string(&j, "stands_out", limits ? limits->odd[u] : NULL);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_open_array(&j, "limits");
    for (size_t i = 0; limits && i < limits->count; i++) {
        const lay_limit *l = &limits->items[i];
        if (!whole(l)) continue;
        lay_json_open_object(&j, NULL);
        lay_json_string(&j, "part", l->part);
        lay_json_integer(&j, "count", l->units);
        lay_json_number(&j, "spread_db", l->spread_db, 2);
        lay_json_number(&j, "limit_db", l->limit_db, 2);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
