/* The speed of each run as terminal text. */
#include <layshaft/report.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "page.h"
#include "speed_words.h"
#include "words.h"

static void heading(const lay_page *page, const lay_speed_row *row) {
    lay_text line = {0};
    lay_text_add(&line, "Run %zu: %s", row->number, row->spec->file != NULL ? row->spec->file : "");
    lay_page_wrap(page, LAY_INK_BOLD, "", line.failed ? "" : line.text);
    lay_text_free(&line);
}

/* A field made by a function; left out when that appends nothing. */
static void field(const lay_page *page, const char *label, lay_text *value) {
    if (value->failed)
        page->out->failed = true;
    else if (value->length > 0)
        lay_page_field(page, label, "%s", value->text);
    lay_text_free(value);
}

static void speed_field(const lay_page *page, const lay_run_speed *speed) {
    lay_speed_summary s = lay_speed_summary_of(speed);
    lay_decimal low = lay_words_number(s.min_hz * 60, 0), high = lay_words_number(s.max_hz * 60, 0);
    lay_decimal mean = lay_words_number(s.mean_hz * 60, s.max_hz > 1.02 * s.min_hz ? 0 : 1);
    if (!speed->found)
        lay_page_field(page, "Speed", "not found");
    else if (s.max_hz > 1.02 * s.min_hz)
        lay_page_field(page, "Speed", "%s to %s rpm, mean %s", low.text, high.text, mean.text);
    else
        lay_page_field(page, "Speed", "%s rpm, steady", mean.text);
}

static void sure_field(const lay_page *page, const lay_run_speed *speed) {
    double confidence = speed->shaft.confidence, sd = lay_speed_uncertainty(&speed->shaft);
    lay_text words = {0};
    lay_text_add(&words, "%s (%s)", lay_speed_sure(confidence), lay_words_percent(confidence).text);
    lay_page_wrap(page, lay_speed_confirmed(speed) ? LAY_INK_PLAIN : LAY_INK_YELLOW, "   How sure      ",
                  words.failed ? "" : words.text);
    lay_text_free(&words);
    if (isfinite(sd))
        lay_page_field(page, "Good to", "%s rpm either way (95 %%)", lay_words_number(2 * sd * 60, 1).text);
}

/* "0.0-2.3 s and 11.0-12.4 s" */
static void gaps_field(const lay_page *page, const lay_run_speed *speed) {
    lay_text list = {0};
    lay_speed_piece gap;
    size_t count = speed->shaft.segment_count, left = 0, shown = 0;
    for (size_t k = 0; k <= count; k++) left += lay_speed_gap(speed, k, &gap);
    for (size_t k = 0; k <= count; k++) {
        if (!lay_speed_gap(speed, k, &gap)) continue;
        if (shown++ > 0) lay_text_add(&list, left == 1 ? " and " : ", ");
        lay_text_add(&list, "%s-%s s", lay_words_number(gap.start_s, 1).text, lay_words_number(gap.end_s, 1).text);
        left--;
    }
    field(page, "No speed at", &list);
}

typedef struct gear_chance {
    const char *name;
    double probability;
} gear_chance;

static int likelier_first(const void *a, const void *b) {
    double x = ((const gear_chance *)a)->probability, y = ((const gear_chance *)b)->probability;
    return x > y ? -1 : x < y;
}

/* "3 (92 %), 4 (6 %)": gears that are worth a word. */
static void sought_field(const lay_page *page, const lay_unit *unit, const lay_run_speed *speed) {
    lay_text list = {0};
    gear_chance *gears = lay_calloc(unit->gear_count + 1, sizeof *gears);
    if (gears == NULL) page->out->failed = true;
    for (size_t i = 0; gears != NULL && i < unit->gear_count; i++)
        gears[i] = (gear_chance){unit->gears[i].name, speed->gear_probability[i]};
    if (gears != NULL) qsort(gears, unit->gear_count, sizeof *gears, likelier_first);
    for (size_t i = 0; gears != NULL && i < unit->gear_count; i++)
        if (i == 0 || gears[i].probability >= 0.005)
            lay_text_add(&list, "%s%s (%s)", i ? ", " : "", gears[i].name,
                         lay_words_percent(gears[i].probability).text);
    field(page, "Gears tried", &list);
    free(gears);
}

static void gear_field(const lay_page *page, const lay_unit *unit, const lay_speed_row *row) {
    const char *name = lay_speed_gear(unit, row);
    bool sought = row->speed->gear_probability != NULL;
    lay_page_field(page, "Gear", "%s%s", name[0] ? name : "unknown",
                   sought && name[0] ? ", found from the recording" : "");
    if (sought) sought_field(page, unit, row->speed);
}

static void one_run(const lay_page *page, const lay_unit *unit, const lay_speed_row *row) {
    lay_text how = {0};
    lay_page_blank(page);
    heading(page, row);
    gear_field(page, unit, row);
    speed_field(page, row->speed);
    if (row->speed->found) {
        lay_speed_how(row, &how);
        field(page, "Found from", &how);
        sure_field(page, row->speed);
        gaps_field(page, row->speed);
    }
    lay_page_sentences(page, LAY_INK_YELLOW, "   Warning: ", &row->speed->warnings);
    if (row->picture != NULL) lay_page_field(page, "Picture", "%s", row->picture);
}

/* ---- what to do next, each advice once ---- */

static bool same(const lay_text *a, const lay_text *b) {
    return a->length > 0 && a->length == b->length && strcmp(a->text, b->text) == 0;
}

/* "Runs 1, 2 and 4: " before the advice they share with `first`. */
static void shared_advice(const lay_page *page, const lay_speed_row *rows, const lay_text *advice, size_t count,
                          size_t first) {
    lay_text line = {0};
    size_t left = 0, shown = 0;
    for (size_t i = first; i < count; i++) left += same(&advice[i], &advice[first]);
    lay_text_add(&line, left > 1 ? "Runs " : "Run ");
    for (size_t i = first; i < count; i++) {
        if (!same(&advice[i], &advice[first])) continue;
        if (shown++ > 0) lay_text_add(&line, left == 1 ? " and " : ", ");
        lay_text_add(&line, "%zu", rows[i].number);
        left--;
    }
    lay_text_add(&line, ": %s", advice[first].text);
    lay_page_wrap(page, LAY_INK_PLAIN, "   - ", line.failed ? "" : line.text);
    lay_text_free(&line);
}

static void list_advice(const lay_page *page, const lay_speed_row *rows, const lay_text *advice, size_t count) {
    bool any = false;
    for (size_t i = 0; i < count; i++) {
        bool said = advice[i].length == 0;
        for (size_t k = 0; k < i && !said; k++) said = same(&advice[k], &advice[i]);
        if (said) continue;
        if (!any) {
            lay_page_blank(page);
            lay_page_heading(page, LAY_INK_BOLD, "What to do next");
        }
        any = true;
        shared_advice(page, rows, advice, count, i);
    }
}

static void what_next(const lay_page *page, const lay_speed_row *rows, size_t count) {
    lay_text *advice = lay_calloc(count + 1, sizeof *advice);
    if (advice == NULL) {
        page->out->failed = true;
        return;
    }
    for (size_t i = 0; i < count; i++) {
        lay_speed_next(&rows[i], &advice[i]);
        if (advice[i].failed) page->out->failed = true;
    }
    if (!page->out->failed) list_advice(page, rows, advice, count);
    for (size_t i = 0; i < count; i++) lay_text_free(&advice[i]);
    free(advice);
}

lay_status lay_report_speed_text(const lay_unit *unit, const lay_speed_row *rows, size_t count, bool colour, int width,
                                 lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    const char *reference = lay_words_body(unit, unit->reference);
    lay_text line = {0};
    lay_page_heading(&page, LAY_INK_BOLD, unit->name);
    lay_text_add(&line, "Speed of the %s", reference != NULL ? reference : "reference shaft");
    lay_page_wrap(&page, LAY_INK_PLAIN, "", line.failed ? "" : line.text);
    lay_text_free(&line);
    for (size_t i = 0; i < count; i++) one_run(&page, unit, &rows[i]);
    what_next(&page, rows, count);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
