/* What is said of a suspect, of blows without a maker and of a run, field by field: the same in text and HTML. */
#include "fields.h"

#include <math.h>
#include <string.h>

#include "blows.h"
#include "pick.h"
#include "words.h"

void lay_field(const lay_fields *fields, const char *label, const char *fmt, ...) {
    lay_text text = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&text, fmt, args);
    va_end(args);
    fields->add(fields->user, label, text.failed ? NULL : text.text);
    lay_text_free(&text);
}

static void onto_page(void *user, const char *label, const char *text) {
    const lay_page *page = user;
    if (text != NULL)
        lay_page_field(page, label, "%s", text);
    else
        page->out->failed = true;
}

lay_fields lay_page_fields(const lay_page *page) {
    return (lay_fields){onto_page, (void *)(uintptr_t)page};
}

/* ---- suspects ---- */

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

static void wheel(const lay_report_view *view, const lay_fields *fields, const lay_suspect *s) {
    if (s->body == NULL) return;
    int teeth = s->part != NULL ? teeth_of(view->unit, s->part, s->body) : 0;
    if (teeth > 0)
        lay_field(fields, "Wheel", "%s (%d teeth)", s->body, teeth);
    else
        lay_field(fields, "Wheel", "%s", s->body);
}

static void tone(const lay_fields *fields, const lay_suspect *s) {
    if (isfinite(s->level_db))
        lay_field(fields, "Level", "%s dB re %s, %s dB above the noise floor", lay_words_number(s->level_db, 1).text,
                  lay_quantity_reference(s->quantity), lay_words_number(s->above_floor_db, 1).text);
    if (isfinite(s->prominence_db))
        lay_field(fields, "Tone", "%s dB over the noise around it: %s", lay_words_number(s->prominence_db, 1).text,
                  s->audible ? "heard as a tone" : "masked, hardly heard");
}

/* How often, so that a reader with the bearing's data at hand can compare. */
static void strikes(const lay_report_view *view, const lay_fields *fields, const lay_suspect *s) {
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
    lay_field(fields, lay_blows_swing_only(s) ? "Swings" : "Strikes", "%s", often.failed ? "" : often.text);
    lay_text_free(&often);
}

#define LISTED 3 /* lines that are given one by one */

/* Of many lines the range is enough; those that the engine hides are not known. */
static void heights(const lay_fields *fields, const lay_suspect *s) {
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
        lay_field(fields, "Lines", "%s dB over %s", levels.failed ? "" : levels.text,
                  s->kind == LAY_KIND_CHIP ? "the noise, averaged turn by turn" : "the floor of the envelope spectrum");
    lay_text_free(&levels);
}

static void rings(const lay_fields *fields, const lay_suspect *s) {
    lay_text band = {0};
    lay_blows_band(&s->blows, &band);
    if (isfinite(s->level_db))
        lay_field(fields, "Rings at", "%s, a band of %s dB re %s", band.failed ? "" : band.text,
                  lay_words_number(s->level_db, 1).text, lay_quantity_reference(s->quantity));
    else
        lay_field(fields, "Rings at", "%s", band.failed ? "" : band.text);
    lay_text_free(&band);
}

static void what_is_heard(const lay_report_view *view, const lay_fields *fields, const lay_suspect *s) {
    if (!lay_blows_known(view, s)) {
        tone(fields, s);
        return;
    }
    strikes(view, fields, s);
    heights(fields, s);
    rings(fields, s);
}

static void best_run(const lay_report_view *view, const lay_fields *fields, int index) {
    if (index < 0 || (size_t)index >= lay_report_run_count(view)) return;
    const lay_run_spec *spec = &view->table->runs[index];
    const lay_run_evidence *run = &view->d->runs[index];
    const char *gear = lay_words_gear(view->unit, spec, run);
    lay_field(fields, "Best seen in", "run %d: %s, %s%s, %s", index + 1, spec->file ? spec->file : "",
              gear[0] ? "gear " : "gear unknown", gear, lay_words_load(run->load));
}

static void twins(const lay_fields *fields, const lay_suspect *s) {
    lay_text names = {0};
    for (size_t i = 0; i < s->not_separable_from.count; i++)
        lay_text_add(&names, "%s%s", i > 0 ? "; " : "", s->not_separable_from.items[i]);
    if (names.text != NULL)
        lay_field(fields, s->blows.lines > 0 ? "Same blows as" : "Same tone as",
                  "%s (these recordings cannot separate them)", names.text);
    lay_text_free(&names);
}

void lay_suspect_fields(const lay_report_view *view, const lay_fields *fields, const lay_suspect *s) {
    lay_field(fields, "Finding", "%s", lay_words_kind(s->kind));
    lay_field(fields, "How sure", "%s (%s)", lay_words_sure(s->probability), lay_words_percent(s->probability).text);
    wheel(view, fields, s);
    what_is_heard(view, fields, s);
    best_run(view, fields, s->best_run);
    twins(fields, s);
}

void lay_stranger_fields(const lay_report_view *view, const lay_fields *fields, const lay_stranger *s) {
    const char *body = lay_words_body(view->unit, s->body);
    lay_field(fields, "How sure", "%s (%s)", lay_words_sure(s->probability), lay_words_percent(s->probability).text);
    lay_field(fields, "Strikes", "%s times per turn of %s: order %s, %s Hz", lay_words_number(s->times, 3).text,
              body != NULL ? body : "?", lay_words_number(s->order, 3).text, lay_words_number(s->hz, 1).text);
    lay_field(fields, "Lines", "up to %s dB over the floor of the envelope spectrum",
              lay_words_number(s->height_db, 0).text);
    lay_field(fields, "Rings at", "%s to %s Hz", lay_words_number(10 * round(s->low_hz / 10), 0).text,
              lay_words_number(10 * round(s->high_hz / 10), 0).text);
    best_run(view, fields, s->best_run);
    lay_field(fields, "What to do",
              "look for a bearing that the unit file does not list, and add it as "
              "[bearing ...] with its number of rolling elements");
}

void lay_part_names(const lay_report_view *view, lay_part_state state, lay_text *out) {
    const lay_verdict *v = &view->d->verdict;
    for (size_t i = 0; i < v->part_count; i++)
        if (v->parts[i].state == state)
            lay_text_add(out, "%s%s%s", out->length > 0 ? ", " : "",
                         v->parts[i].type == LAY_PART_BEARING ? "bearing " : "", v->parts[i].part);
}

/* ---- runs ---- */

static void run_speed(const lay_fields *fields, const lay_run_evidence *run) {
    if (!run->usable && !(run->mean_hz > 0.0)) {
        lay_field(fields, "Speed", "not found");
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
    lay_field(fields, "Speed", "%s", value.failed ? "" : value.text);
    lay_text_free(&value);
}

void lay_run_fields(const lay_report_view *view, const lay_fields *fields, size_t index) {
    const lay_run_evidence *run = &view->d->runs[index];
    const char *gear = lay_words_gear(view->unit, &view->table->runs[index], run);
    lay_field(fields, "Condition", "gear %s, %s, %s s", gear[0] ? gear : "unknown", lay_words_load(run->load),
              lay_words_number(run->duration_s, 1).text);
    run_speed(fields, run);
}

void lay_line_words(const lay_report_view *view, const lay_run_evidence *run, const lay_explained_line *line,
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

void lay_lines_legend(const lay_report_view *view, lay_text *out) {
    const char *body = lay_words_body(view->unit, view->unit->reference);
    lay_text_add(
        out,
        "order: per turn of the %s. level: dB re %s. above: dB over the noise floor. tone: dB over the noise "
        "around it (tone-to-noise ratio); prominent from 8 dB at 1000 Hz and above, from more below (ECMA-418-1). made "
        "by: the likeliest maker of the line and how likely; unclear: several could be.",
        body != NULL ? body : "reference shaft", common_reference(view));
}
