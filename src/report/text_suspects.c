/* Suspects: the first at length, the others in short. */
#include "text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "blows.h"
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

static void tone(const lay_page *page, const lay_suspect *s) {
    if (isfinite(s->level_db))
        lay_page_field(page, "Level", "%s dB re %s, %s dB above the noise floor", lay_words_number(s->level_db, 1).text,
                       lay_quantity_reference(s->quantity), lay_words_number(s->above_floor_db, 1).text);
    if (isfinite(s->prominence_db))
        lay_page_field(page, "Tone", "%s dB over the noise around it: %s", lay_words_number(s->prominence_db, 1).text,
                       s->audible ? "heard as a tone" : "masked, hardly heard");
}

/* How often, so that a reader with the bearing's data at hand can compare. */
static void strikes(const lay_report_view *view, const lay_page *page, const lay_suspect *s) {
    const lay_blows *b = &s->blows;
    lay_turner by = lay_blows_turner(view, s);
    lay_text often = {0};
    if (s->kind == LAY_KIND_CHIP)
        lay_text_add(&often, "once per turn of %s: ", s->body != NULL ? s->body : "the wheel");
    else if (by.order > 0)
        lay_text_add(&often, "%s times per turn of %s%s%s: ", lay_words_number(b->order / by.order, 3).text,
                     by.body != NULL ? by.body : "?", by.against != NULL ? " against " : "",
                     by.against != NULL ? by.against : "");
    lay_text_add(&often, "order %s, %s Hz", lay_words_number(b->order, 3).text, lay_words_number(b->hz, 1).text);
    lay_page_field(page, lay_blows_swing_only(s) ? "Swings" : "Strikes", "%s", often.failed ? "" : often.text);
    lay_text_free(&often);
}

#define LISTED 3 /* lines that are given one by one */

/* Of many lines the range is enough; those that the engine hides are not known. */
static void heights(const lay_page *page, const lay_suspect *s) {
    const lay_blows *b = &s->blows;
    lay_text levels = {0};
    double low = INFINITY, high = -INFINITY;
    bool listed = b->lines <= LISTED || lay_blows_swing_only(s);
    int known = 0, lines = listed && b->lines > LISTED ? LISTED : b->lines;
    for (int k = 0; k < lines; k++) {
        if (!isfinite(b->level_db[k])) continue;
        low = fmin(low, b->level_db[k]);
        high = fmax(high, b->level_db[k]);
        if (listed) lay_text_add(&levels, "%s%s", known > 0 ? ", " : "", lay_words_number(b->level_db[k], 0).text);
        known++;
    }
    if (!listed && known > 0)
        lay_text_add(&levels, "%d of them, %s to %s", known, lay_words_number(low, 0).text,
                     lay_words_number(high, 0).text);
    if (known > 0)
        lay_page_field(page, "Lines", "%s dB over %s", levels.failed ? "" : levels.text,
                       s->kind == LAY_KIND_CHIP ? "the noise, averaged turn by turn"
                                                : "the floor of the envelope spectrum");
    lay_text_free(&levels);
}

static void rings(const lay_page *page, const lay_suspect *s) {
    lay_text band = {0};
    lay_blows_band(&s->blows, &band);
    if (isfinite(s->level_db))
        lay_page_field(page, "Rings at", "%s, a band of %s dB re %s", band.failed ? "" : band.text,
                       lay_words_number(s->level_db, 1).text, lay_quantity_reference(s->quantity));
    else
        lay_page_field(page, "Rings at", "%s", band.failed ? "" : band.text);
    lay_text_free(&band);
}

static void what_is_heard(const lay_report_view *view, const lay_page *page, const lay_suspect *s) {
    if (!lay_blows_known(view, s)) {
        tone(page, s);
        return;
    }
    strikes(view, page, s);
    heights(page, s);
    rings(page, s);
}

static void best_run(const lay_report_view *view, const lay_page *page, int index) {
    if (index < 0 || (size_t)index >= lay_report_run_count(view)) return;
    const lay_run_spec *spec = &view->table->runs[index];
    const lay_run_evidence *run = &view->d->runs[index];
    const char *gear = lay_words_gear(view->unit, spec, run);
    lay_page_field(page, "Best seen in", "run %d: %s, %s%s, %s", index + 1, spec->file ? spec->file : "",
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

/* What a closer look says is wrong. */
static void symptoms(const lay_page *page, const lay_suspect *s) {
    if (s->symptom_count == 0) return;
    lay_page_line(page, LAY_INK_BOLD, "   What seems wrong with it");
    for (size_t i = 0; i < s->symptom_count; i++) {
        lay_text line = {0};
        lay_text_add(&line, "%s: %s", lay_words_sure(s->symptoms[i].sure), s->symptoms[i].text);
        lay_page_wrap(page, LAY_INK_PLAIN, "   - ", line.failed ? "" : line.text);
        lay_text_free(&line);
    }
}

static void twins(const lay_page *page, const lay_suspect *s) {
    lay_text names = {0};
    for (size_t i = 0; i < s->not_separable_from.count; i++)
        lay_text_add(&names, "%s%s", i > 0 ? "; " : "", s->not_separable_from.items[i]);
    if (names.text != NULL)
        lay_page_field(page, s->blows.lines > 0 ? "Same blows as" : "Same tone as",
                       "%s (these recordings cannot separate them)", names.text);
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
    what_is_heard(view, page, s);
    best_run(view, page, s->best_run);
    twins(page, s);
    list(page, "Why", &s->reasons);
    symptoms(page, s);
    list(page, "What to look at", &s->checks);
}

static void other_suspect(const lay_page *page, const lay_suspect *s, size_t number, bool reason) {
    lay_text line = {0};
    char lead[16];
    snprintf(lead, sizeof lead, "%2zu. ", number % 100);
    lay_text_add(&line, "%s", part_name(s));
    if (s->body != NULL) lay_text_add(&line, ", %s", s->body);
    lay_text_add(&line, ": %s (%s); %s", lay_words_sure(s->probability), lay_words_percent(s->probability).text,
                 lay_words_kind(s->kind));
    if (reason && s->reasons.count > 0) lay_text_add(&line, "; %s", s->reasons.items[0]);
    lay_page_wrap(page, LAY_INK_PLAIN, lead, line.failed ? "" : line.text);
    lay_text_free(&line);
}

#define OTHERS_MAX 5

/* The suspects from index `from` on in short, under one heading. */
static void in_short(const lay_page *page, const lay_verdict *v, const char *heading, size_t from) {
    size_t shown = v->suspect_count < OTHERS_MAX + from ? v->suspect_count : OTHERS_MAX + from;
    if (from >= v->suspect_count) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, heading);
    for (size_t i = from; i < shown; i++) other_suspect(page, &v->suspects[i], i + 1, v->outcome != LAY_CLEAR);
    if (shown < v->suspect_count) {
        char more[64];
        snprintf(more, sizeof more, "and %zu more, less likely: see --json", v->suspect_count - shown);
        lay_page_wrap(page, LAY_INK_DIM, "    ", more);
    }
}

/* Blows that no part of the unit file makes. */
static void stranger(const lay_report_view *view, const lay_page *page, const lay_stranger *s) {
    const char *body = lay_words_body(view->unit, s->body);
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "Blows that no part of the unit file makes");
    lay_page_field(page, "How sure", "%s (%s)", lay_words_sure(s->probability), lay_words_percent(s->probability).text);
    lay_page_field(page, "Strikes", "%s times per turn of %s: order %s, %s Hz", lay_words_number(s->times, 3).text,
                   body != NULL ? body : "?", lay_words_number(s->order, 3).text, lay_words_number(s->hz, 1).text);
    lay_page_field(page, "Lines", "up to %s dB over the floor of the envelope spectrum",
                   lay_words_number(s->height_db, 0).text);
    lay_page_field(page, "Rings at", "%s to %s Hz", lay_words_number(10 * round(s->low_hz / 10), 0).text,
                   lay_words_number(10 * round(s->high_hz / 10), 0).text);
    best_run(view, page, s->best_run);
    lay_page_field(page, "What to do",
                   "look for a bearing that the unit file does not list, and add it as "
                   "[bearing ...] with its number of rolling elements");
}

void lay_report_text_suspects(const lay_report_view *view, const lay_page *page) {
    const lay_verdict *v = &view->d->verdict;
    if (v->outcome == LAY_CLEAR) { /* nothing to open the unit for: no checks */
        in_short(page, v, "What came nearest, not near enough to act on", 0);
    } else if (v->suspect_count > 0) {
        first_suspect(view, page, &v->suspects[0]);
        in_short(page, v, "What else it could be", 1);
    }
    if (v->stranger.found) stranger(view, page, &v->stranger);
}
