/* Suspects: the first at length, the others in short. */
#include "text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "utf8.h"
#include "words.h"

static const char *part_name(const lay_suspect *s) {
    return s->part != NULL ? s->part : "unknown source";
}

/* Teeth of the wheel of `body` in the mesh called `part`, 0 when there is none. */
static int teeth_of(const lay_unit *unit, const char *part, const char *body) {
    int b = lay_unit_body(unit, body);
    for (size_t i = 0; i < unit->mesh_count; i++) {
        const lay_mesh *m = &unit->meshes[i];
        if (strcmp(m->name, part) != 0) continue;
        return m->driver.body == b ? m->driver.teeth : m->driven.body == b ? m->driven.teeth : 0;
    }
    return 0;
}

static void wheel(const lay_report_view *view, const lay_page *page, const lay_suspect *s) {
    if (s->body == NULL) return;
    int teeth = s->part != NULL ? teeth_of(view->unit, s->part, s->body) : 0;
    if (teeth > 0)
        lay_page_field(page, "Wheel", "%s (%d teeth)", s->body, teeth);
    else
        lay_page_field(page, "Wheel", "%s", s->body);
}

static void level(const lay_page *page, const lay_suspect *s) {
    if (isfinite(s->level_db))
        lay_page_field(page, "Level", "%s dB re %s, %s dB above the noise floor", lay_words_number(s->level_db, 1).text,
                       lay_quantity_reference(s->quantity), lay_words_number(s->above_floor_db, 1).text);
    if (isfinite(s->prominence_db))
        lay_page_field(page, "Tone", "%s dB over the noise around it: %s", lay_words_number(s->prominence_db, 1).text,
                       s->audible ? "heard as a tone" : "masked, hardly heard");
}

static void best_run(const lay_report_view *view, const lay_page *page, const lay_suspect *s) {
    if (s->best_run < 0 || (size_t)s->best_run >= lay_report_run_count(view)) return;
    const lay_run_spec *spec = &view->table->runs[s->best_run];
    const lay_run_evidence *run = &view->d->runs[s->best_run];
    const char *gear = lay_words_gear(view->unit, spec, run);
    lay_page_field(page, "Best seen in", "run %d: %s, %s%s, %s", s->best_run + 1, spec->file ? spec->file : "",
                   gear[0] ? "gear " : "gear unknown", gear, lay_words_load(run->load));
}

static void list(const lay_page *page, const char *title, const lay_strings *items) {
    if (items->count == 0) return;
    lay_text line = {0};
    lay_text_add(&line, "   %s", title);
    lay_page_line(page, LAY_INK_BOLD, line.failed ? "" : line.text);
    for (size_t i = 0; i < items->count; i++) lay_page_wrap(page, LAY_INK_PLAIN, "   - ", items->items[i]);
    lay_text_free(&line);
}

static void twins(const lay_page *page, const lay_suspect *s) {
    lay_text names = {0};
    for (size_t i = 0; i < s->not_separable_from.count; i++)
        lay_text_add(&names, "%s%s", i > 0 ? "; " : "", s->not_separable_from.items[i]);
    if (names.text != NULL)
        lay_page_field(page, "Same tone as", "%s (these recordings cannot separate them)", names.text);
    lay_text_free(&names);
}

static void first_suspect(const lay_report_view *view, const lay_page *page, const lay_suspect *s) {
    lay_text title = {0};
    lay_text_add(&title, "1. %s", part_name(s));
    lay_page_blank(page);
    lay_page_wrap(page, LAY_INK_BOLD, "", title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_page_field(page, "Finding", "%s", lay_words_kind(s->kind));
    lay_page_field(page, "How sure", "%s (%s)", lay_words_sure(s->probability), lay_words_percent(s->probability).text);
    wheel(view, page, s);
    level(page, s);
    best_run(view, page, s);
    twins(page, s);
    list(page, "Why", &s->reasons);
    list(page, "What to look at", &s->checks);
}

static void other_suspect(const lay_page *page, const lay_suspect *s, size_t number) {
    lay_text line = {0};
    char lead[16];
    snprintf(lead, sizeof lead, "%2zu. ", number % 100);
    lay_text_add(&line, "%s", part_name(s));
    if (s->body != NULL) lay_text_add(&line, ", %s", s->body);
    lay_text_add(&line, ": %s (%s); %s", lay_words_sure(s->probability), lay_words_percent(s->probability).text,
                 lay_words_kind(s->kind));
    if (s->reasons.count > 0) lay_text_add(&line, ". %s", s->reasons.items[0]);
    lay_page_wrap(page, LAY_INK_PLAIN, lead, line.failed ? "" : line.text);
    lay_text_free(&line);
}

#define OTHERS_MAX 5

void lay_report_text_suspects(const lay_report_view *view, const lay_page *page) {
    const lay_verdict *v = &view->d->verdict;
    if (v->suspect_count == 0) return;
    first_suspect(view, page, &v->suspects[0]);
    if (v->suspect_count == 1) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "What else it could be");
    size_t shown = v->suspect_count < OTHERS_MAX + 1 ? v->suspect_count : OTHERS_MAX + 1;
    for (size_t i = 1; i < shown; i++) other_suspect(page, &v->suspects[i], i + 1);
    if (shown < v->suspect_count) {
        char more[64];
        snprintf(more, sizeof more, "and %zu more, less likely: see --json", v->suspect_count - shown);
        lay_page_wrap(page, LAY_INK_DIM, "    ", more);
    }
}
