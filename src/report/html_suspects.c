/* Evidence: suspect by suspect, then blows that no part makes. */
#include "html.h"

#include <stdio.h>

#include "markup.h"
#include "words.h"

static void symptoms(const lay_html *h, const lay_suspect *s) {
    if (s->symptom_count == 0) return;
    lay_text_add(h->out, "<h4>What seems wrong with it</h4>\n<ul>\n");
    for (size_t i = 0; i < s->symptom_count; i++) {
        lay_text_add(h->out, "<li>");
        lay_markup_format(h->out, "%s: %s", lay_words_sure(s->symptoms[i].sure), s->symptoms[i].text);
        lay_text_add(h->out, "</li>\n");
    }
    lay_text_add(h->out, "</ul>\n");
}

/* "Recorded, 3.2 to 7.2 s of run 2" */
static void sounds(lay_html *h, size_t index, const lay_suspect *s) {
    const lay_clips *c = index < LAY_HTML_SUSPECTS ? &h->clips[index] : NULL;
    const char *alone = "Only this part";
    lay_text label = {0}, louder = {0};
    if (c == NULL || !c->made) return;
    lay_text_add(h->out, "<div class=\"sounds\"><h4>To the ear</h4>\n");
    lay_text_add(&label, "As recorded: run %d, %s to %s s", s->best_run + 1, lay_words_number(c->from_s, 1).text,
                 lay_words_number(c->from_s + c->seconds, 1).text);
    lay_text_add(&louder, "%s%s", alone, c->band ? " (the band in which it rings)" : "");
    if (c->lift_db > 0.5) lay_text_add(&louder, ", %s dB louder", lay_words_number(c->lift_db, 0).text);
    lay_html_sound(h, c->file[0], label.failed ? "As recorded" : label.text);
    lay_html_sound(h, c->file[1], louder.failed ? alone : louder.text);
    lay_html_sound(h, c->file[2], "The recording without it");
    lay_text_add(h->out, "<p class=\"note\">Play it to the customer: is that the noise? Start with the volume "
                         "down.</p></div>\n");
    lay_text_free(&label);
    lay_text_free(&louder);
}

static void picture(lay_html *h, const char *name, const lay_suspect *s, const char *fmt, ...) LAY_PRINTF(4, 5);
static void picture(lay_html *h, const char *name, const lay_suspect *s, const char *fmt, ...) {
    lay_text alternative = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&alternative, fmt, args);
    va_end(args);
    lay_text_add(&alternative, " %s", s->part != NULL ? s->part : "the source");
    lay_html_picture(h, name, alternative.failed ? "" : alternative.text);
    lay_text_free(&alternative);
}

static void pictures(lay_html *h, size_t index, const lay_suspect *s) {
    char stem[48];
    snprintf(stem, sizeof stem, "suspect-%zu-levels", index + 1);
    picture(h, stem, s, "Level of its orders against speed, and how the structure answers:");
    snprintf(stem, sizeof stem, "suspect-%zu-wheels", index + 1);
    picture(h, stem, s, "The average turn of both wheels, tooth by tooth:");
    if (s->blows.lines == 0 || s->best_run < 0) return;
    snprintf(stem, sizeof stem, "run-%02d-envelope", s->best_run + 1);
    picture(h, stem, s, "Envelope spectrum of run %d, with the orders at which it strikes:", s->best_run + 1);
}

static void heading(const lay_html *h, size_t index, const lay_suspect *s) {
    lay_text name = {0};
    lay_html_suspect_name(&name, s);
    lay_text_add(h->out, "<h3><b class=\"badge%s\">%zu</b> ", index > 0 ? " other" : "", index + 1);
    lay_markup_text(h->out, name.failed ? "" : name.text);
    lay_text_add(h->out, "</h3>\n");
    lay_text_free(&name);
}

static void one(lay_html *h, size_t index) {
    const lay_suspect *s = &h->view->d->verdict.suspects[index];
    lay_fields fields = lay_html_fields(h->out);
    lay_text_add(h->out, "<article>\n");
    heading(h, index, s);
    lay_text_add(h->out, "<dl>\n");
    lay_suspect_fields(h->view, &fields, s);
    lay_text_add(h->out, "</dl>\n");
    if (s->reasons.count > 0) lay_text_add(h->out, "<h4>Why</h4>\n");
    lay_html_list(h->out, &s->reasons);
    symptoms(h, s);
    sounds(h, index, s);
    pictures(h, index, s);
    lay_text_add(h->out, "</article>\n");
}

static void stranger(const lay_html *h) {
    const lay_stranger *s = &h->view->d->verdict.stranger;
    lay_fields fields = lay_html_fields(h->out);
    if (!s->found) return;
    lay_text_add(h->out, "<article>\n<h3>Blows that no part of the unit file makes</h3>\n<dl>\n");
    lay_stranger_fields(h->view, &fields, s);
    lay_text_add(h->out, "</dl>\n</article>\n");
}

void lay_html_suspects(lay_html *h) {
    const lay_verdict *v = &h->view->d->verdict;
    bool any = v->suspect_count > 0 || v->stranger.found;
    lay_text_add(h->out, "<section id=\"evidence\">\n<h2>Evidence</h2>\n");
    if (!any) lay_text_add(h->out, "<p>No part stands out.</p>\n");
    if (any && v->outcome == LAY_CLEAR)
        lay_text_add(h->out, "<p>What came nearest is below; it is not near enough to act on.</p>\n");
    for (size_t i = 0; i < v->suspect_count; i++) one(h, i);
    stranger(h);
    lay_text_add(h->out, "</section>\n");
}
