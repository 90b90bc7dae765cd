/* Run by run: how it was driven, what stands in it, its pictures. */
#include "html.h"

#include <math.h>
#include <stdio.h>

#include "markup.h"
#include "pick.h"
#include "words.h"

#define LINES_SHOWN 12

static void row(const lay_html *h, size_t index, const lay_explained_line *line) {
    const lay_run_evidence *run = &h->view->d->runs[index];
    lay_text words = {0};
    lay_line_words(h->view, run, line, &words);
    double level = lay_level_db(line->line.power, &h->view->table->runs[index]);
    lay_text_add(h->out, "<tr><td>%s</td><td>%s</td><td>%s</td><td>%s</td><td>%s</td><td class=\"maker\">",
                 lay_words_number(line->line.order, 3).text, lay_words_number(line->line.hz, 1).text,
                 lay_words_number(level, 1).text, lay_words_number(line->line.above_floor_db, 1).text,
                 lay_words_number(line->line.tnr_db, 1).text);
    lay_markup_text(h->out, words.failed ? "" : words.text);
    lay_text_add(h->out, "</td></tr>\n");
    lay_text_free(&words);
}

static void lines(const lay_html *h, size_t index) {
    const lay_run_evidence *run = &h->view->d->runs[index];
    const lay_explained_line *shown[LINES_SHOWN];
    const lay_pick pick = {.max_order = INFINITY, .per_maker = 2, .limit = LINES_SHOWN};
    size_t count = lay_pick_lines(run, &pick, shown);
    if (count == 0) return;
    lay_text_add(h->out, "<table>\n<caption>%zu of %zu lines: the strongest, at most two of a kind</caption>\n", count,
                 run->line_count);
    lay_text_add(h->out, "<tr><th>order</th><th>Hz</th><th>level dB</th><th>above dB</th><th>tone dB</th><th "
                         "class=\"maker\">made by</th></tr>\n");
    for (size_t i = 0; i < count; i++) row(h, index, shown[i]);
    lay_text_add(h->out, "</table>\n");
}

static void warnings(const lay_html *h, const lay_run_evidence *run) {
    for (const char *at = run->warnings.text; at != NULL && *at;) {
        lay_text one = {0};
        int n = 0;
        while (at[n] && at[n] != '\n') n++;
        lay_text_add(&one, "%.*s", n, at);
        if (n > 0) {
            lay_text_add(h->out, "<p class=\"warning\"><b>Warning:</b> ");
            lay_markup_text(h->out, one.failed ? "" : one.text);
            lay_text_add(h->out, "</p>\n");
        }
        lay_text_free(&one);
        at += n + (at[n] == '\n');
    }
}

static void pictures(lay_html *h, size_t index) {
    static const struct {
        const char *name, *alternative;
    } kinds[] = {{"spectrum", "Order spectrum: level against order, lines marked with what makes them, run"},
                 {"map", "Order map: level over order and speed, run"},
                 {"speed", "Shaft speed over time below the spectra over time, run"}};
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        char stem[48], alternative[128];
        snprintf(stem, sizeof stem, "run-%02zu-%s", index + 1, kinds[k].name);
        snprintf(alternative, sizeof alternative, "%s %zu", kinds[k].alternative, index + 1);
        lay_html_picture(h, stem, alternative);
    }
}

static void one(lay_html *h, size_t index) {
    const lay_run_spec *spec = &h->view->table->runs[index];
    lay_fields fields = lay_html_fields(h->out);
    lay_text_add(h->out, "<article>\n<h3>");
    lay_markup_format(h->out, "Run %zu: %s", index + 1, spec->file != NULL ? spec->file : "");
    lay_text_add(h->out, "</h3>\n<dl>\n");
    lay_run_fields(h->view, &fields, index);
    if (spec->notes != NULL && spec->notes[0]) lay_field(&fields, "Notes", "%s", spec->notes);
    lay_text_add(h->out, "</dl>\n");
    warnings(h, &h->view->d->runs[index]);
    pictures(h, index);
    lines(h, index);
    lay_text_add(h->out, "</article>\n");
}

void lay_html_runs(lay_html *h) {
    lay_text legend = {0};
    lay_text_add(h->out, "<section id=\"runs\">\n<h2>Recordings</h2>\n");
    for (size_t i = 0; i < lay_report_run_count(h->view); i++) one(h, i);
    lay_lines_legend(h->view, &legend);
    lay_text_add(h->out, "<p class=\"note\">");
    lay_markup_text(h->out, legend.failed ? "" : legend.text);
    lay_text_add(h->out, "</p>\n</section>\n");
    lay_text_free(&legend);
}
