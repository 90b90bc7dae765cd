/* The inspection sheet: a table for each suspect, then what may stay and what was not tested. On paper it begins on a
 * page of its own. */
#include "html.h"

#include <string.h>

#include "markup.h"
#include "sheet.h"
#include "words.h"

#define SHOWN 3       /* suspects */
#define SHOW_FROM 0.1 /* probability, after the first */

/* "centred|_ mm" as boxes to tick and blanks to fill in. */
static void boxes(lay_text *out, const char *list) {
    while (*list) {
        size_t n = strcspn(list, "|");
        lay_text_add(out, "<span class=\"tick\">");
        for (size_t i = 0; i < n; i++) {
            if (list[i] == '_')
                lay_text_add(out, "<span class=\"blank\"></span>");
            else
                lay_text_add(out, "%c", list[i]);
        }
        lay_text_add(out, "</span> ");
        list += n + (list[n] == '|');
    }
}

static void row(lay_text *out, const lay_sheet_row *r) {
    lay_text_add(out, "<tr><td>");
    lay_markup_text(out, r->check);
    lay_text_add(out, "</td><td class=\"found\">");
    boxes(out, r->boxes);
    lay_text_add(out, "</td><td>");
    lay_markup_text(out, r->rule);
    lay_text_add(out, "</td></tr>\n");
}

static void suspect(const lay_html *h, size_t index) {
    const lay_suspect *s = &h->view->d->verdict.suspects[index];
    lay_text name = {0};
    lay_html_suspect_name(&name, s);
    lay_text_add(h->out, "<h3><b class=\"badge%s\">%zu</b> ", index > 0 ? " other" : "", index + 1);
    lay_markup_format(h->out, "%s%s%s: %s", name.failed ? "" : name.text, s->body != NULL ? ", wheel " : "",
                      s->body != NULL ? s->body : "", lay_words_kind(s->kind));
    lay_text_add(h->out, "</h3>\n<table class=\"sheet\">\n<tr><th>Check</th><th>Found</th><th>Rule of the "
                         "trade</th></tr>\n");
    for (const lay_sheet_row *r = lay_sheet_next(s->kind, NULL); r != NULL; r = lay_sheet_next(s->kind, r))
        row(h->out, r);
    lay_text_add(h->out, "<tr><td>Result</td><td class=\"found\" colspan=\"2\">");
    boxes(h->out,
          s->kind == LAY_KIND_OUTSIDE ? "this was it|this was not it" : "good, stays|dressed|replaced|this was not it");
    lay_text_add(h->out, "<span class=\"blank wide\"></span></td></tr>\n</table>\n");
    lay_text_free(&name);
}

static void parts_in(const lay_html *h, lay_part_state state, const char *heading) {
    const lay_verdict *v = &h->view->d->verdict;
    bool any = false;
    for (size_t i = 0; i < v->part_count; i++) {
        const lay_part_finding *f = &v->parts[i];
        if (f->state != state) continue;
        if (!any) lay_text_add(h->out, "<h4>%s</h4>\n<ul class=\"parts\">\n", heading);
        any = true;
        lay_text_add(h->out, "<li>");
        lay_markup_format(h->out, "%s%s: %s", f->type == LAY_PART_BEARING ? "bearing " : "", f->part, f->why);
        lay_text_add(h->out, "</li>\n");
    }
    if (any) lay_text_add(h->out, "</ul>\n");
}

static void head(const lay_html *h) {
    lay_text_add(h->out, "<p class=\"form\">Unit: ");
    lay_markup_text(h->out, h->view->unit->name);
    lay_text_add(h->out,
                 " &nbsp; Serial: <span class=\"blank wide\"></span> Date: <span class=\"blank\"></span> By: <span "
                 "class=\"blank wide\"></span></p>\n");
}

static void caution(const lay_html *h) {
    lay_text_add(h->out,
                 "<p class=\"caution\"><b>Caution:</b> lift and hold the unit with gear made for its weight; drain "
                 "hot oil with care; springs and snap rings fly; let nobody turn a shaft while hands are inside. "
                 "Local codes, the maker's manual and licensed practice come first.</p>\n");
}

void lay_html_sheet(const lay_html *h) {
    const lay_verdict *v = &h->view->d->verdict;
    lay_text_add(h->out, "<section id=\"sheet\">\n<h2>Inspection sheet</h2>\n");
    head(h);
    caution(h);
    if (v->outcome == LAY_CLEAR)
        lay_text_add(h->out, "<p>Nothing stands out: there is no part to open the unit for.</p>\n");
    for (size_t i = 0; i < v->suspect_count && i < SHOWN && v->outcome != LAY_CLEAR; i++)
        if (i == 0 || v->suspects[i].probability >= SHOW_FROM) suspect(h, i);
    if (v->part_count > 0) lay_text_add(h->out, "<h3>All other parts</h3>\n");
    parts_in(h, LAY_STATE_CLEARED, "Nothing in these recordings speaks against them: they may stay if they look good");
    parts_in(h, LAY_STATE_OPEN, "Open: look at them as well");
    parts_in(h, LAY_STATE_UNTESTED, "Not tested by these recordings: judge them by eye and hand alone");
    lay_text_add(h->out, "</section>\n");
}
