/* The runs: how each was recorded, where its speed came from, its strongest lines, what is wrong with it. */
#include "text.h"

#include <math.h>
#include <string.h>

#include "fields.h"
#include "pick.h"
#include "utf8.h"
#include "words.h"

#define LINES_SHOWN 8
#define NUMBER_COLUMNS 38 /* "   order       Hz   level  above   tone  " */

static void run_title(const lay_report_view *view, const lay_page *page, size_t index) {
    const lay_run_spec *spec = &view->table->runs[index];
    lay_fields fields = lay_page_fields(page);
    lay_text line = {0};
    lay_text_add(&line, "Run %zu: %s", index + 1, spec->file ? spec->file : "");
    lay_page_wrap(page, LAY_INK_BOLD, "", line.failed ? "" : line.text);
    lay_text_free(&line);
    lay_run_fields(view, &fields, index);
}

static void line_row(const lay_report_view *view, const lay_page *page, size_t index, const lay_explained_line *line) {
    const lay_run_evidence *run = &view->d->runs[index];
    lay_text words = {0}, row = {0};
    lay_line_words(view, run, line, &words);
    double level = lay_level_db(line->line.power, &view->table->runs[index]);
    lay_text_add(&row, "%10.10s %8.8s %6.6s %5.5s %5.5s  ", lay_words_number(line->line.order, 3).text,
                 lay_words_number(line->line.hz, 1).text, lay_words_number(level, 1).text,
                 lay_words_number(line->line.above_floor_db, 1).text, lay_words_number(line->line.tnr_db, 1).text);
    if (!words.failed && words.text != NULL) lay_utf8_fit(&row, words.text, page->width - NUMBER_COLUMNS - 2);
    if (words.failed || row.failed)
        page->out->failed = true;
    else
        lay_page_line(page, LAY_INK_PLAIN, row.text);
    lay_text_free(&words);
    lay_text_free(&row);
}

static void run_lines(const lay_report_view *view, const lay_page *page, size_t index) {
    const lay_run_evidence *run = &view->d->runs[index];
    if (run->line_count == 0) {
        if (run->usable) lay_page_field(page, "Lines", "none stands out of the noise");
        return;
    }
    const lay_explained_line *lines[LINES_SHOWN];
    const lay_pick pick = {.max_order = INFINITY, .per_maker = 2, .limit = LINES_SHOWN};
    size_t shown = lay_pick_lines(run, &pick, lines);
    lay_page_line(page, LAY_INK_DIM, "     order       Hz  level above  tone  made by");
    for (size_t i = 0; i < shown; i++) line_row(view, page, index, lines[i]);
    if (shown < run->line_count) {
        lay_text more = {0};
        lay_text_add(&more, "%zu of %zu lines: the strongest, at most two of a kind", shown, run->line_count);
        lay_page_wrap(page, LAY_INK_DIM, "     ", more.failed ? "" : more.text);
        lay_text_free(&more);
    }
}

static void legend(const lay_report_view *view, const lay_page *page) {
    lay_text words = {0};
    lay_lines_legend(view, &words);
    lay_page_wrap(page, LAY_INK_DIM, "", words.failed ? "" : words.text);
    lay_text_free(&words);
}

void lay_report_text_runs(const lay_report_view *view, const lay_page *page) {
    size_t count = lay_report_run_count(view);
    bool any_line = false;
    for (size_t i = 0; i < count; i++) {
        lay_page_blank(page);
        run_title(view, page, i);
        run_lines(view, page, i);
        lay_page_sentences(page, LAY_INK_YELLOW, "   Warning: ", &view->d->runs[i].warnings);
        any_line = any_line || view->d->runs[i].line_count > 0;
    }
    if (!any_line) return;
    lay_page_blank(page);
    legend(view, page);
}
