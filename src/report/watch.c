/* The screen of `layshaft watch`, and what is said at the end. */
#include <layshaft/report.h>

#include <math.h>
#include <string.h>

#include "page.h"
#include "run_json.h"
#include "utf8.h"
#include "words.h"

#define NAME_COLUMNS 20
#define AROUND 5 /* lines that are not parts: title, speed, heading, trouble, keys */
#define CLEAR_DB 6.0

/* ---- rows ---- */

/* A number right-aligned; nothing where it is not known. */
static void add_number(lay_text *out, int columns, double value, int decimals, bool sign) {
    lay_decimal text = lay_words_number(value, decimals);
    if (!isfinite(value))
        lay_text_add(out, "%*s", columns, "-");
    else
        lay_text_add(out, "%*s%s", columns - (int)strlen(text.text), sign && value >= 0 ? "+" : "", text.text);
}

static const char *remark(const lay_watch_row *row, lay_ink *ink) {
    *ink = LAY_INK_PLAIN;
    if (row->alarm) return *ink = LAY_INK_RED, "ALARM";
    if (!isfinite(row->above_db) || row->above_db < CLEAR_DB) return *ink = LAY_INK_DIM, "in the noise";
    if (row->alarms > 0) return *ink = LAY_INK_YELLOW, "had alarm";
    if (row->engine) return "by engine";
    return row->vague ? "blows, unsure" : row->blows ? "blows" : row->shared ? "shared" : "";
}

static void part_line(const lay_page *page, const lay_watch_row *row) {
    lay_text line = {0};
    lay_ink ink;
    lay_utf8_cell(&line, row->part->name, NAME_COLUMNS);
    add_number(&line, 8, row->order, 3, false);
    add_number(&line, 8, row->hz > 0 ? row->hz : NAN, 1, false);
    add_number(&line, 7, row->now_db, 1, false);
    add_number(&line, 7, row->hold_db, 1, false);
    add_number(&line, 7, row->above_db, 1, false);
    add_number(&line, 7, row->change_db, 1, true);
    const char *words = remark(row, &ink);
    if (*words) lay_text_add(&line, "  %s", words);
    if (!line.failed) lay_page_line(page, ink, line.text);
    lay_text_free(&line);
}

static void heading(const lay_page *page) {
    lay_text line = {0};
    lay_utf8_cell(&line, "part", NAME_COLUMNS);
    lay_text_add(&line, "%8s%8s%7s%7s%7s%7s", "order", "Hz", "dB", "hold", "noise+", "change");
    if (!line.failed) lay_page_line(page, LAY_INK_DIM, line.text);
    lay_text_free(&line);
}

static void fitted_line(const lay_page *page, lay_ink ink, const lay_text *text) {
    lay_text line = {0};
    lay_utf8_fit(&line, text->failed || !text->text ? "" : text->text, page->width);
    if (!line.failed && line.text) lay_page_line(page, ink, line.text);
    lay_text_free(&line);
}

static void title(const lay_page *page, const lay_watch_screen *s) {
    lay_text text = {0};
    lay_text_add(&text, "%s, gear %s, %s%s%s", s->unit->name, s->gear, s->where, s->recording ? ", RECORDING" : "",
                 s->held ? ", SCREEN HELD" : "");
    fitted_line(page, LAY_INK_BOLD, &text);
    lay_text_free(&text);
}

static void speed(const lay_page *page, const lay_watch_screen *s) {
    const lay_watch *w = s->watch;
    lay_text text = {0};
    lay_text_add(&text, "%s s   ", lay_words_number(w->at_s, 1).text);
    if (w->known)
        lay_text_add(&text, "%s rpm, %s%s", lay_words_number(60 * w->hz, 0).text, lay_words_speed_source(w->source),
                     w->confidence < 0.5 ? ": unsure, say --rpm or use a tach" : "");
    else
        lay_text_add(&text, "no speed");
    if (w->moment_count > 0)
        lay_text_add(&text, "   noted: %zu, last at %s s", w->moment_count,
                     lay_words_number(w->moments[w->moment_count - 1].at_s, 1).text);
    fitted_line(page, LAY_INK_PLAIN, &text);
    lay_text_free(&text);
}

/* Whether a row is among the `room` highest over the noise. */
static bool among(const lay_watch *w, size_t row, size_t room) {
    size_t higher = 0;
    for (size_t i = 0; i < w->count; i++) {
        double here = w->rows[i].hold_db, than = w->rows[row].hold_db;
        higher += i != row && (here > than || (isnan(than) && !isnan(here)) ||
                               ((here == than || (isnan(here) && isnan(than))) && i < row));
    }
    return higher < room;
}

lay_status lay_report_watch(const lay_watch_screen *s, bool colour, int width, int rows, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    const lay_watch *w = s->watch;
    size_t room = rows > AROUND + 3 ? (size_t)(rows - AROUND - 1) : 2, shown = w->count <= room ? w->count : room - 1;
    title(&page, s);
    speed(&page, s);
    heading(&page);
    for (size_t i = 0; i < w->count; i++)
        if (shown == w->count || among(w, i, shown)) part_line(&page, &w->rows[i]);
    lay_text line = {0};
    if (shown < w->count) {
        lay_text_add(&line, "%zu quieter parts are not shown", w->count - shown);
        fitted_line(&page, LAY_INK_DIM, &line);
        lay_text_free(&line);
    }
    lay_text_add(&line, "%s", s->trouble ? s->trouble : "");
    fitted_line(&page, LAY_INK_YELLOW, &line);
    lay_text_free(&line);
    lay_page_line(&page, LAY_INK_DIM, "h: hold the screen   r: reset hold   n: note this moment   q: end");
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

/* ---- at the end ---- */

static void summary_heading(const lay_page *page) {
    lay_text line = {0};
    lay_text_add(&line, "   ");
    lay_utf8_cell(&line, "part", NAME_COLUMNS);
    lay_text_add(&line, "%8s%7s%9s%8s%7s%8s", "order", "mean", "highest", "at s", "rpm", "change");
    if (!line.failed) lay_page_line(page, LAY_INK_DIM, line.text);
    lay_text_free(&line);
}

static void summary_row(const lay_page *page, const lay_watch_row *row) {
    lay_text line = {0};
    lay_text_add(&line, "   ");
    lay_utf8_cell(&line, row->part->name, NAME_COLUMNS);
    add_number(&line, 8, row->order, 3, false);
    add_number(&line, 7, row->mean_db, 1, false);
    add_number(&line, 9, row->top_db, 1, false);
    add_number(&line, 8, isfinite(row->top_db) ? row->top_s : NAN, 1, false);
    add_number(&line, 7, isfinite(row->top_db) ? 60 * row->top_hz : NAN, 0, false);
    add_number(&line, 8, row->worst_db, 1, true);
    const char *words = row->alarms > 0 ? "ALARM"
                        : row->vague    ? "unsure"
                        : row->blows    ? "blows"
                        : row->shared   ? "shared"
                                        : "";
    if (*words) lay_text_add(&line, "  %s", words);
    if (!line.failed) lay_page_line(page, row->alarms > 0 ? LAY_INK_RED : LAY_INK_PLAIN, line.text);
    lay_text_free(&line);
}

static void alarms(const lay_page *page, const lay_watch *w) {
    bool any = false, shared = false, blows = false;
    for (size_t i = 0; i < w->count; i++) {
        const lay_watch_row *row = &w->rows[i];
        shared = shared || (row->shared && !row->blows);
        blows = blows || row->blows;
        if (row->alarms == 0) continue;
        lay_page_field(page, any ? "" : "Alarm", "%s: %d time%s, first at %s s", row->part->name, row->alarms,
                       row->alarms == 1 ? "" : "s", lay_words_number(row->alarm_s, 1).text);
        any = true;
    }
    if (blows) lay_page_field(page, "Blows", "of bearings: dB over even noise, which itself reaches 1 to 3 dB");
    if (shared) lay_page_field(page, "Shared", "parts marked so make the same order here and are not told apart");
}

static void moments(const lay_page *page, const lay_watch *w) {
    for (size_t i = 0; i < w->moment_count; i++) {
        const lay_watch_moment *m = &w->moments[i];
        lay_text text = {0};
        lay_text_add(&text, "%s s", lay_words_number(m->at_s, 1).text);
        if (isfinite(m->hz)) lay_text_add(&text, ", %s rpm", lay_words_number(60 * m->hz, 0).text);
        if (isfinite(m->above_db))
            lay_text_add(&text, ": the %s stood highest, %s dB over the noise", w->rows[m->loudest].part->name,
                         lay_words_number(m->above_db, 1).text);
        lay_page_field(page, i == 0 ? "Noted" : "", "%s", text.failed ? "" : text.text);
        lay_text_free(&text);
    }
}

lay_status lay_report_watch_summary(const lay_watch_screen *s, const char *recorded, const lay_text *warnings,
                                    bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    const lay_watch *w = s->watch;
    lay_text head = {0};
    lay_text_add(&head, "Watched %s in gear %s for %s s", s->unit->name, s->gear, lay_words_number(w->at_s, 1).text);
    lay_page_wrap(&page, LAY_INK_BOLD, "", head.failed ? "Watched" : head.text);
    lay_text_free(&head);
    if (w->max_hz > 0)
        lay_page_field(&page, "Speed", "%s to %s rpm, %s", lay_words_number(60 * w->min_hz, 0).text,
                       lay_words_number(60 * w->max_hz, 0).text, lay_words_speed_source(w->source));
    else
        lay_page_field(&page, "Speed", "never known, so no part could be looked at: %s",
                       s->trouble ? s->trouble : "say --rpm or use a tach");
    lay_page_field(&page, "Levels", "dB re %s; change: the largest against the baseline",
                   lay_quantity_reference(w->spec->quantity));
    if (w->max_hz > 0) summary_heading(&page);
    for (size_t i = 0; w->max_hz > 0 && i < w->count; i++) summary_row(&page, &w->rows[i]);
    alarms(&page, w);
    moments(&page, w);
    if (recorded) lay_page_field(&page, "Recorded", "%s", recorded);
    if (warnings->length > 0) {
        lay_page_field(&page, "Mind", "%s", "");
        lay_page_sentences(&page, LAY_INK_YELLOW, "   - ", warnings);
    }
    lay_page_field(&page, "Next", "record it: layshaft diagnose says what is wrong with a part");
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

/* ---- JSON ---- */

static void row_json(lay_json *j, const lay_watch_row *row) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "part", row->part->name);
    lay_json_number(j, "order", row->order, 4);
    lay_json_number(j, "mean_db", row->mean_db, 2);
    lay_json_number(j, "highest_db", row->top_db, 2);
    lay_json_number(j, "highest_at_s", isfinite(row->top_db) ? row->top_s : NAN, 2);
    lay_json_number(j, "highest_at_rpm", isfinite(row->top_db) ? 60 * row->top_hz : NAN, 1);
    lay_json_number(j, "last_db", row->now_db, 2);
    lay_json_number(j, "last_over_noise_db", row->above_db, 2);
    lay_json_number(j, "last_change_db", row->change_db, 2);
    lay_json_number(j, "largest_change_db", row->worst_db, 2);
    lay_json_integer(j, "alarms", row->alarms);
    lay_json_number(j, "first_alarm_s", row->alarm_s, 2);
    lay_json_bool(j, "blows", row->blows);
    lay_json_bool(j, "shared", row->shared);
    lay_json_close_object(j);
}

lay_status lay_report_watch_json(const lay_watch_screen *s, const char *recorded, const lay_text *warnings,
                                 bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    const lay_watch *w = s->watch;
    lay_json_open_answer(&j, s->unit);
    lay_json_string(&j, "gear", s->gear);
    lay_json_number(&j, "duration_s", w->at_s, 2);
    const lay_speed_summary rpm = {w->source, w->min_hz, w->mean_hz, w->max_hz, w->confidence};
    lay_json_speed(&j, &rpm);
    lay_json_string(&j, "level_reference", lay_quantity_reference(w->spec->quantity));
    lay_json_open_array(&j, "parts");
    for (size_t i = 0; i < w->count; i++) row_json(&j, &w->rows[i]);
    lay_json_close_array(&j);
    lay_json_open_array(&j, "noted");
    for (size_t i = 0; i < w->moment_count; i++) {
        lay_json_open_object(&j, NULL);
        lay_json_number(&j, "at_s", w->moments[i].at_s, 2);
        lay_json_number(&j, "rpm", 60 * w->moments[i].hz, 1);
        lay_json_string(&j, "highest_over_noise",
                        isfinite(w->moments[i].above_db) ? w->rows[w->moments[i].loudest].part->name : NULL);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_string(&j, "recorded", recorded);
    lay_json_sentences(&j, "warnings", warnings);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
