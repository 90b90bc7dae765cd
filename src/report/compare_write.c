/* Before and after as a page with pictures, in a folder. */
#include "compare_plots.h"
#include "html.h"
#include "markup.h"
#include "picture.h"
#include "words.h"

#include <math.h>
#include <stdlib.h>

#define ROOM (3600u * 1024)

typedef struct page {
    const lay_compared *c;
    const lay_trend *trend;
    const lay_compare_options *options;
    lay_html html;
} page;

/* ---- the page ---- */

static void cell(lay_text *out, const char *text) {
    lay_html_element(out, "td", text);
}

static void first(const page *p) {
    const lay_comparison *x = p->c->comparison;
    lay_text *out = p->html.out;
    static const char *const classes[LAY_CHANGE_COUNT] = {"clear", "attention", "clear", "inconclusive"};
    lay_text_add(out, "<section class=\"%s\"><p class=\"outcome\">%s</p>\n", classes[x->verdict],
                 lay_words_change_headline(x->verdict));
    lay_html_element(out, "h1", x->summary);
    lay_text_add(out, "<p>");
    lay_markup_format(out, "Before: %s. After: %s.", p->c->before_name, p->c->after_name);
    lay_text_add(out, "</p></section>\n");
}

static void part_row(const lay_part_change *part, lay_text *out) {
    lay_text heard = {0};
    lay_text_add(&heard, "%s", part->why);
    if (!isnan(part->tnr_before_db) && !isnan(part->tnr_after_db)) lay_text_add(&heard, "; ");
    lay_words_heard(part, &heard);
    for (size_t i = 0; i < part->not_separable_from.count; i++)
        lay_text_add(&heard, "%s %s", i ? "," : "; measured together with", part->not_separable_from.items[i]);
    lay_text_add(out, "<tr>");
    lay_text_add(out, "<td class=\"maker\">");
    lay_markup_text(out, part->part);
    lay_text_add(out, "</td>");
    cell(out, lay_words_change_db(&part->change).text);
    cell(out, lay_words_interval(&part->change).text);
    cell(out, lay_words_number(part->before_db, 1).text);
    cell(out, lay_words_number(part->after_db, 1).text);
    lay_text_add(out, "<td class=\"maker\"><b>");
    lay_markup_text(out, lay_words_change(part->verdict));
    lay_text_add(out, "</b></td><td class=\"maker\">");
    lay_markup_text(out, heard.failed ? "" : heard.text);
    lay_text_add(out, "</td></tr>\n");
    lay_text_free(&heard);
}

static void parts(const page *p) {
    const lay_comparison *x = p->c->comparison;
    lay_text *out = p->html.out;
    lay_text quiet = {0};
    lay_text_add(
        out, "<section><h2>Part by part</h2>\n<table>\n<tr><th class=\"maker\">Part</th><th>Change, dB</th><th>95 of "
             "100 cases</th><th>Before, dB</th><th>After, dB</th><th class=\"maker\">Verdict</th><th "
             "class=\"maker\">Why, and to the ear (ECMA-418-1)</th></tr>\n");
    for (size_t i = 0; i < x->part_count; i++) {
        const lay_part_change *part = &x->parts[i];
        if (part->change.before || part->change.after)
            part_row(part, out);
        else
            lay_text_add(&quiet, "%s%s", quiet.length ? ", " : "", part->part);
    }
    lay_text_add(out, "</table>\n");
    if (quiet.length && !quiet.failed) {
        lay_text_add(out, "<p class=\"note\">In the noise both times: ");
        lay_markup_text(out, quiet.text);
        lay_text_add(out, "</p>\n");
    }
    lay_text_free(&quiet);
    lay_text_add(out, "</section>\n");
}

static void pictures(page *p) {
    lay_text_add(p->html.out, "<section><h2>Pictures</h2>\n");
    lay_html_picture(&p->html, "compare-parts", "Change of each part with its interval; the table above says the same");
    lay_html_picture(&p->html, "compare-spectrum", "Order spectra before and after in one");
    lay_html_picture(&p->html, "compare-speed", "Level against speed, before and after");
    lay_text_add(p->html.out, "</section>\n");
}

static void lines(const page *p) {
    const lay_comparison *x = p->c->comparison;
    lay_text *out = p->html.out;
    lay_text_add(out, "<section><h2>Line by line</h2>\n");
    for (size_t i = 0; i < x->part_count; i++) {
        const lay_part_change *part = &x->parts[i];
        if (part->line_count == 0) continue;
        lay_html_element(out, "h3", part->part);
        lay_text_add(out,
                     "<table>\n<tr><th>Order before</th><th>Order after</th><th class=\"maker\">Line</th><th>Change, "
                     "dB</th><th>95 of 100 cases</th></tr>\n");
        for (size_t k = 0; k < part->line_count; k++) {
            const lay_line_change *l = &part->lines[k];
            lay_text words = {0};
            lay_words_line(p->c->after->unit, part, l, &words);
            lay_text_add(out, "<tr>");
            cell(out, lay_words_number(l->order_before, 3).text);
            cell(out, lay_words_number(l->order_after, 3).text);
            lay_text_add(out, "<td class=\"maker\">");
            lay_markup_text(out, words.failed ? "" : words.text);
            lay_text_add(out, "</td>");
            cell(out, lay_words_change_db(&l->change).text);
            cell(out, lay_words_interval(&l->change).text);
            lay_text_add(out, "</tr>\n");
            lay_text_free(&words);
        }
        lay_text_add(out, "</table>\n");
    }
    lay_text_add(out, "</section>\n");
}

static void conditions(const page *p) {
    const lay_comparison *x = p->c->comparison;
    lay_text *out = p->html.out;
    lay_text_add(out, "<section><h2>What was compared</h2>\n<ul>\n");
    for (size_t j = 0; j < x->shared_count; j++) {
        const lay_shared *s = &x->shared[j];
        lay_text words = {0};
        lay_words_condition(s->gear, s->load, &words);
        lay_text_add(&words, ": %.0f to %.0f rpm, %.1f s before, %.1f s after", 60 * s->low_hz, 60 * s->high_hz,
                     s->before_s, s->after_s);
        lay_html_element(out, "li", words.failed ? "" : words.text);
        lay_text_free(&words);
    }
    lay_text_add(out, "</ul>\n<p>Levels: %s. From one recording to the next %s dB are reckoned with (%s).</p>\n",
                 lay_words_match(x, p->c->before->loudness.conditions[x->shared[0].before].quantity),
                 lay_words_number(x->repeat_db, 1).text,
                 x->repeat_known ? "as these recordings show" : "a usual value");
    lay_html_headed_list(out, "Not as it was before", &x->differs);
    lay_html_headed_list(out, "Not compared", &x->missing);
    lay_text_add(out, "</section>\n");
}

static void course(const page *p) {
    const lay_trend *t = p->trend;
    lay_text *out = p->html.out;
    if (!t) return;
    lay_text_add(out,
                 "<section><h2>Course over the jobs</h2>\n<table>\n<tr><th class=\"maker\">Part, in dB against the "
                 "first</th>");
    for (size_t k = 1; k < t->job_count; k++) lay_html_element(out, "th", t->names[k]);
    lay_text_add(out, "<th>Last step</th><th class=\"maker\">Course</th></tr>\n");
    for (size_t i = 0; i < t->part_count; i++) {
        lay_text_add(out, "<tr><td class=\"maker\">");
        lay_markup_text(out, t->parts[i].part);
        lay_text_add(out, "</td>");
        for (size_t k = 0; k + 1 < t->job_count; k++) cell(out, lay_words_change_db(&t->parts[i].since_first[k]).text);
        cell(out, lay_words_interval(&t->parts[i].last).text);
        lay_text_add(out, "<td class=\"maker\">%s</td></tr>\n", lay_course_name(t->parts[i].course));
    }
    lay_text_add(out, "</table></section>\n");
}

static void write_page(page *p) {
    lay_text *out = p->html.out;
    lay_text title = {0};
    lay_text_add(&title, "%s: before and after", p->c->after->unit->name);
    lay_html_begin(out, title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_text_add(out, "<header><p>");
    lay_markup_format(out, "%s%s%s", p->c->after->unit->name, p->options->date ? " · " : "",
                      p->options->date ? p->options->date : "");
    lay_text_add(out, "</p></header>\n<main>\n");
    first(p);
    parts(p);
    course(p);
    pictures(p);
    conditions(p);
    lines(p);
    lay_html_end(out, "This comparison is advice for an inspection. It certifies nothing.");
}

/* ---- the folder ---- */

static lay_status save(const char *folder, const char *name, const lay_text *text, lay_strings *written,
                       lay_error *err) {
    char *path = lay_path_join(folder, name);
    lay_status status = path && !text->failed && text->text
                            ? lay_write_file(path, text->text, text->length, err)
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to write");
    if (status == LAY_OK) status = lay_strings_add(written, err, "%s", name);
    free(path);
    return status;
}

static void draw(const lay_compared *c, const lay_compare_options *options, lay_strings *written, lay_error *missing) {
    static const struct {
        const char *stem;
        lay_picture_script script;
    } all[] = {{"compare-parts", lay_compare_parts_script},
               {"compare-speed", lay_compare_speed_script},
               {"compare-spectrum", lay_compare_spectrum_script}};
    lay_easel easel = {.folder = options->folder, .written = written};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        lay_text probe = {0};
        bool worth = all[i].script(c, NULL, NULL, &probe, NULL) == LAY_OK;
        lay_text_free(&probe);
        if (worth && options->plots)
            lay_easel_draw(&easel, all[i].stem, all[i].script, c);
        else
            lay_picture_remove(options->folder, all[i].stem);
    }
    lay_easel_end(&easel, missing);
}

lay_status lay_report_compare_write(const lay_compared *c, const lay_trend *trend, const lay_compare_options *options,
                                    lay_error *missing, lay_error *err) {
    lay_text text = {0}, json = {0}, html = {0};
    lay_strings written = {0};
    lay_error first_missing = {0};
    lay_status status = lay_make_folder(options->folder, err);
    if (status == LAY_OK) {
        lay_report_compare_text(c, false, 80, &text);
        if (trend) lay_report_trend_text(trend, false, 80, &text);
        lay_report_compare_json(c, trend, true, &json);
        status = save(options->folder, "compare.txt", &text, &written, err);
    }
    if (status == LAY_OK) status = save(options->folder, "compare.json", &json, &written, err);
    if (status == LAY_OK) {
        draw(c, options, &written, &first_missing);
        page p = {c, trend, options, {.files = &written, .room = ROOM, .out = &html}};
        lay_report_options folder = {.folder = options->folder};
        p.html.options = &folder;
        write_page(&p);
        status = save(options->folder, "compare.html", &html, &written, err);
    }
    if (missing) *missing = first_missing;
    lay_strings_free(&written);
    lay_text_free(&text);
    lay_text_free(&json);
    lay_text_free(&html);
    return status;
}
