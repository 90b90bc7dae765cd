/* Suspects: the first at length, the others in short. */
#include "text.h"

#include <stdio.h>
#include <string.h>

#include "fields.h"
#include "utf8.h"
#include "words.h"

static const char *part_name(const lay_suspect *s) {
    return s->part != NULL ? s->part : "unknown source";
}

static void list(const lay_page *page, const char *title, const lay_strings *items) {
    if (items->count == 0) return;
    lay_text line = {0};
    lay_text_add(&line, "   %s", title);
    lay_page_line(page, LAY_INK_BOLD, line.failed ? "" : line.text);
    for (size_t i = 0; i < items->count; i++) lay_page_wrap(page, LAY_INK_PLAIN, "   - ", items->items[i]);
    lay_text_free(&line);
}

/* What a closer look says is wrong. */
static void symptoms(const lay_page *page, const lay_suspect *s) {
    if (s->symptom_count == 0) return;
    lay_page_line(page, LAY_INK_BOLD, "   What seems wrong with it");
    for (size_t i = 0; i < s->symptom_count; i++) {
        lay_text line = {0};
        lay_text_add(&line, "%s: %s", lay_words_sure(s->symptoms[i].sure), s->symptoms[i].text);
        lay_page_wrap(page, LAY_INK_PLAIN, "   - ", line.failed ? "" : line.text);
        lay_text_free(&line);
    }
}

static void first_suspect(const lay_report_view *view, const lay_page *page, const lay_suspect *s) {
    lay_text title = {0};
    lay_text_add(&title, "1. %s", part_name(s));
    lay_page_blank(page);
    lay_page_wrap(page, LAY_INK_BOLD, "", title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_fields fields = lay_page_fields(page);
    lay_suspect_fields(view, &fields, s);
    list(page, "Why", &s->reasons);
    symptoms(page, s);
    list(page, "What to look at", &s->checks);
}

static void other_suspect(const lay_page *page, const lay_suspect *s, size_t number, bool reason) {
    lay_text line = {0};
    char lead[16];
    snprintf(lead, sizeof lead, "%2zu. ", number % 100);
    lay_text_add(&line, "%s", part_name(s));
    if (s->body != NULL) lay_text_add(&line, ", %s", s->body);
    lay_text_add(&line, ": %s (%s); %s", lay_words_sure(s->probability), lay_words_percent(s->probability).text,
                 lay_words_kind(s->kind));
    if (reason && s->reasons.count > 0) lay_text_add(&line, "; %s", s->reasons.items[0]);
    lay_page_wrap(page, LAY_INK_PLAIN, lead, line.failed ? "" : line.text);
    lay_text_free(&line);
}

#define OTHERS_MAX 5

/* The suspects from index `from` on in short, under one heading. */
static void in_short(const lay_page *page, const lay_verdict *v, const char *heading, size_t from) {
    size_t shown = v->suspect_count < OTHERS_MAX + from ? v->suspect_count : OTHERS_MAX + from;
    if (from >= v->suspect_count) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, heading);
    for (size_t i = from; i < shown; i++) other_suspect(page, &v->suspects[i], i + 1, v->outcome != LAY_CLEAR);
    if (shown < v->suspect_count) {
        char more[64];
        snprintf(more, sizeof more, "and %zu more, less likely: see --json", v->suspect_count - shown);
        lay_page_wrap(page, LAY_INK_DIM, "    ", more);
    }
}

/* Blows that no part of the unit file makes. */
static void stranger(const lay_report_view *view, const lay_page *page, const lay_stranger *s) {
    lay_fields fields = lay_page_fields(page);
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "Blows that no part of the unit file makes");
    lay_stranger_fields(view, &fields, s);
}

void lay_report_text_suspects(const lay_report_view *view, const lay_page *page) {
    const lay_verdict *v = &view->d->verdict;
    if (v->outcome == LAY_CLEAR) { /* nothing to open the unit for: no checks */
        in_short(page, v, "What came nearest, not near enough to act on", 0);
    } else if (v->suspect_count > 0) {
        first_suspect(view, page, &v->suspects[0]);
        in_short(page, v, "What else it could be", 1);
    }
    if (v->stranger.found) stranger(view, page, &v->stranger);
}
