/* The first screen: the verdict in a sentence, the drawing with the suspect parts, what to look at, what may stay. */
#include "html.h"

#include <string.h>

#include "drawing.h"
#include "markup.h"
#include "words.h"

#define MARKS 5
#define MARK_FROM 0.1 /* probability */

/* ---- the drawing ---- */

static size_t collect_marks(const lay_verdict *v, lay_mark marks[MARKS]) {
    size_t count = 0;
    if (v->outcome == LAY_CLEAR) return 0;
    for (size_t i = 0; i < v->suspect_count && count < MARKS; i++) {
        const lay_suspect *s = &v->suspects[i];
        if (s->part == NULL || s->probability < MARK_FROM) continue;
        bool wheel = s->kind == LAY_KIND_ECCENTRIC || s->kind == LAY_KIND_CHIP || s->kind == LAY_KIND_GHOST;
        marks[count] = (lay_mark){s->part, wheel ? s->body : NULL, (int)i + 1, count == 0};
        count++;
    }
    return count;
}

/* The gear in which the first suspect shows best, else the first run that is driven in a gear. */
static int gear_shown(const lay_report_view *view) {
    const lay_verdict *v = &view->d->verdict;
    int best = v->suspect_count > 0 && v->outcome != LAY_CLEAR ? v->suspects[0].best_run : -1;
    if (best >= 0 && (size_t)best < lay_report_run_count(view)) return view->d->runs[best].gear;
    for (size_t i = 0; i < lay_report_run_count(view); i++)
        if (view->d->runs[i].gear >= 0 && view->d->runs[i].load != LAY_LOAD_NONE) return view->d->runs[i].gear;
    return -1;
}

static void describe(const lay_report_view *view, const lay_mark *marks, size_t count, int gear, lay_text *out) {
    lay_text_add(out, "Side view: ");
    for (size_t i = 0; i < view->unit->mesh_count; i++) {
        const lay_mesh *m = &view->unit->meshes[i];
        lay_text_add(out, "%s%s, %d teeth on %s and %d on %s", i > 0 ? "; " : "", m->name, m->driver.teeth,
                     view->unit->bodies[m->driver.body].name, m->driven.teeth, view->unit->bodies[m->driven.body].name);
    }
    lay_text_add(out, ".");
    if (gear >= 0) lay_text_add(out, " The line shows the way of the torque in gear %s.", view->unit->gears[gear].name);
    for (size_t i = 0; i < count; i++) lay_text_add(out, " Mark %d: %s.", marks[i].number, marks[i].part);
}

static void caption(const lay_html *h, size_t marks, int gear) {
    lay_text_add(h->out, "<figcaption>");
    if (gear >= 0)
        lay_markup_format(h->out, "Line: the way of the torque in gear %s. ", h->view->unit->gears[gear].name);
    lay_text_add(h->out, "Wheels to scale by their teeth, lengths free.%s",
                 marks > 0 ? " Hatched: suspects, numbered by how likely." : "");
    lay_text_add(h->out, "</figcaption></figure>\n");
}

static lay_status drawing(const lay_html *h, lay_error *err) {
    lay_mark marks[MARKS];
    size_t count = collect_marks(&h->view->d->verdict, marks);
    int gear = gear_shown(h->view);
    lay_text title = {0}, description = {0}, svg = {0};
    bool drawn = false;
    lay_text_add(&title, "%s from the side", h->view->unit->name);
    describe(h->view, marks, count, gear, &description);
    lay_drawing d = {
        h->view->unit, gear, marks, count, title.failed ? "" : title.text, description.failed ? "" : description.text};
    lay_status status = lay_drawing_write(&d, &drawn, &svg, err);
    if (status == LAY_OK && drawn) {
        lay_text_add(h->out, "<figure class=\"unit\">\n%s", svg.text);
        caption(h, count, gear);
    }
    lay_text_free(&title);
    lay_text_free(&description);
    lay_text_free(&svg);
    return status;
}

/* ---- words ---- */

static void sure(const lay_html *h) {
    const lay_verdict *v = &h->view->d->verdict;
    if (v->suspect_count == 0 || v->outcome == LAY_CLEAR) return;
    const lay_suspect *s = &v->suspects[0];
    lay_text_add(h->out, "<p class=\"sure\"><b class=\"badge\">1</b> ");
    lay_markup_format(h->out, "%s: %s, %s (%s)", s->part != NULL ? s->part : "unknown source", lay_words_kind(s->kind),
                      lay_words_sure(s->probability), lay_words_percent(s->probability).text);
    lay_text_add(h->out, "</p>\n");
}

/* What else is likely enough to be looked at in the same go. */
static void others(const lay_html *h) {
    const lay_verdict *v = &h->view->d->verdict;
    for (size_t i = 1; i < v->suspect_count && i < MARKS && v->outcome != LAY_CLEAR; i++) {
        const lay_suspect *s = &v->suspects[i];
        lay_text name = {0};
        if (s->probability < MARK_FROM) continue;
        lay_html_suspect_name(&name, s);
        lay_text_add(h->out, "<p class=\"sure\"><b class=\"badge other\">%zu</b> ", i + 1);
        lay_markup_format(h->out, "%s: %s (%s)", name.failed ? "" : name.text, lay_words_sure(s->probability),
                          lay_words_percent(s->probability).text);
        lay_text_add(h->out, "</p>\n");
        lay_text_free(&name);
    }
}

#define CHECKS_SHOWN 4

static void look_at(const lay_html *h) {
    const lay_verdict *v = &h->view->d->verdict;
    if (v->suspect_count == 0 || v->outcome == LAY_CLEAR) return;
    const lay_strings *checks = &v->suspects[0].checks;
    lay_text_add(h->out, "<h2>What to look at</h2>\n<ol>\n");
    for (size_t i = 0; i < checks->count && i < CHECKS_SHOWN; i++) lay_html_element(h->out, "li", checks->items[i]);
    lay_text_add(h->out, "</ol>\n");
    lay_text_add(h->out, "<p><a href=\"#sheet\">All checks, with boxes to fill in: inspection sheet</a></p>\n");
}

static void parts_in(const lay_html *h, lay_part_state state, const char *label) {
    lay_text names = {0};
    lay_part_names(h->view, state, &names);
    if (names.length > 0) {
        lay_text_add(h->out, "<p class=\"names\"><b>%s:</b> ", label);
        lay_markup_text(h->out, names.failed ? "" : names.text);
        lay_text_add(h->out, "</p>\n");
    }
    lay_text_free(&names);
}

static void add_recordings(const lay_html *h) {
    const lay_strings *add = &h->view->d->verdict.add;
    if (add->count == 0) return;
    lay_html_element(h->out, "h2",
                     add->count == 1 ? "One recording more would settle it" : "Recordings that would settle it");
    lay_html_list(h->out, add);
}

static void words(const lay_html *h) {
    bool more = h->view->d->verdict.add.count > 0; /* on a phone the checks then leave room for it */
    lay_text_add(h->out, "<div class=\"words%s\">\n", more ? " more" : "");
    others(h);
    look_at(h);
    add_recordings(h);
    if (h->view->d->verdict.part_count > 0) {
        lay_text_add(h->out, "<h2>What may stay</h2>\n");
        parts_in(h, LAY_STATE_CLEARED, "Nothing against");
        parts_in(h, LAY_STATE_OPEN, "Open");
        parts_in(h, LAY_STATE_UNTESTED, "Not tested");
    }
    lay_text_add(h->out, "</div>\n");
}

lay_status lay_html_first(const lay_html *h, lay_error *err) {
    const lay_verdict *v = &h->view->d->verdict;
    lay_text_add(h->out, "<section id=\"verdict\" class=\"%s\">\n<p class=\"outcome\">", lay_outcome_name(v->outcome));
    lay_markup_text(h->out, lay_words_outcome(v->outcome));
    lay_text_add(h->out, "</p>\n");
    lay_html_element(h->out, "h1", v->summary);
    sure(h);
    lay_text_add(h->out, "<div class=\"first\">\n");
    lay_status status = drawing(h, err);
    words(h);
    lay_text_add(h->out, "</div>\n</section>\n");
    return status;
}
