/* The runs: how each was recorded, where its speed came from, its strongest lines, what is wrong with it. */
#include "text.h"

#include <math.h>
#include <string.h>

#include "pick.h"
#include "utf8.h"
#include "words.h"

#define LINES_SHOWN 8
#define NUMBER_COLUMNS 38 /* "   order       Hz   level  above   tone  " */

static void run_title(const lay_report_view *view, const lay_page *page, size_t index) {
    const lay_run_spec *spec = &view->table->runs[index];
    const lay_run_evidence *run = &view->d->runs[index];
    const char *gear = lay_words_gear(view->unit, spec, run);
    lay_text line = {0};
    lay_text_add(&line, "Run %zu: %s", index + 1, spec->file ? spec->file : "");
    lay_page_wrap(page, LAY_INK_BOLD, "", line.failed ? "" : line.text);
    lay_text_free(&line);
    lay_page_field(page, "Condition", "gear %s, %s, %s s", gear[0] ? gear : "unknown", lay_words_load(run->load),
                   lay_words_number(run->duration_s, 1).text);
}

static void run_speed(const lay_page *page, const lay_run_evidence *run) {
    if (!run->usable && !(run->mean_hz > 0.0)) {
        lay_page_field(page, "Speed", "not found");
        return;
    }
    double low = run->min_hz * 60.0, high = run->max_hz * 60.0, mean = run->mean_hz * 60.0;
    lay_text value = {0};
    if (high - low > 0.02 * mean)
        lay_text_add(&value, "%s to %s rpm, mean %s", lay_words_number(low, 0).text, lay_words_number(high, 0).text,
                     lay_words_number(mean, 0).text);
    else
        lay_text_add(&value, "%s rpm", lay_words_number(mean, 0).text);
    lay_text_add(&value, ", from %s (%s sure)", lay_words_speed_source(run->speed_source),
                 lay_words_percent(run->speed_confidence).text);
    if (fabs(run->speed_correction) > 5e-4)
        lay_text_add(&value, "; the stated value was off by %s %%",
                     lay_words_number(100.0 * run->speed_correction, 1).text);
    if (value.failed)
        page->out->failed = true;
    else
        lay_page_field(page, "Speed", "%s", value.text);
    lay_text_free(&value);
}

static void line_words(const lay_report_view *view, const lay_run_evidence *run, const lay_explained_line *line,
                       lay_text *out) {
    if (line->claim_count == 0 || line->claims[0].class_ == LAY_LINE_UNKNOWN) {
        lay_text_add(out, "unknown");
        return;
    }
    if (!lay_line_named(line)) { /* the JSON report holds the guesses */
        lay_text_add(out, "unclear");
        return;
    }
    lay_words_claim(view->unit, run, &line->claims[0], out);
    if (line->claims[0].probability < 0.995)
        lay_text_add(out, " (%s)", lay_words_percent(line->claims[0].probability).text);
}

static void line_row(const lay_report_view *view, const lay_page *page, size_t index, const lay_explained_line *line) {
    const lay_run_evidence *run = &view->d->runs[index];
    lay_text words = {0}, row = {0};
    line_words(view, run, line, &words);
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

/* The reference every run with lines shares, or words when they differ. */
static const char *common_reference(const lay_report_view *view) {
    const char *reference = NULL;
    for (size_t i = 0; i < lay_report_run_count(view); i++) {
        if (view->d->runs[i].line_count == 0) continue;
        const char *own = lay_quantity_reference(view->d->runs[i].quantity);
        if (reference != NULL && strcmp(reference, own) != 0)
            return "1 um/s2, 20 uPa or full scale as each run is calibrated";
        reference = own;
    }
    return reference != NULL ? reference : "full scale";
}

static void legend(const lay_report_view *view, const lay_page *page) {
    const char *body = lay_words_body(view->unit, view->unit->reference);
    lay_text words = {0};
    lay_text_add(
        &words,
        "order: per turn of the %s. level: dB re %s. above: dB over the noise floor. tone: dB over the noise "
        "around it (tone-to-noise ratio); prominent from 8 dB at 1000 Hz and above, from more below (ECMA-418-1). made "
        "by: the likeliest maker of the line and how likely; unclear: several could be.",
        body != NULL ? body : "reference shaft", common_reference(view));
    lay_page_wrap(page, LAY_INK_DIM, "", words.failed ? "" : words.text);
    lay_text_free(&words);
}

void lay_report_text_runs(const lay_report_view *view, const lay_page *page) {
    size_t count = lay_report_run_count(view);
    bool any_line = false;
    for (size_t i = 0; i < count; i++) {
        lay_page_blank(page);
        run_title(view, page, i);
        run_speed(page, &view->d->runs[i]);
        run_lines(view, page, i);
        lay_page_sentences(page, LAY_INK_YELLOW, "   Warning: ", &view->d->runs[i].warnings);
        any_line = any_line || view->d->runs[i].line_count > 0;
    }
    if (!any_line) return;
    lay_page_blank(page);
    legend(view, page);
}
