/* Before and after on the terminal. */
#include "compare_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "page.h"
#include "words.h"

#define LINES_LISTED 4 /* of a part */
#define NAME_COLUMNS 20

static lay_ink ink_of(lay_change_verdict verdict) {
    static const lay_ink inks[LAY_CHANGE_COUNT] = {LAY_INK_GREEN, LAY_INK_RED, LAY_INK_PLAIN, LAY_INK_YELLOW};
    return inks[verdict];
}

static void headline(const lay_compared *c, const lay_page *page) {
    const lay_comparison *x = c->comparison;
    lay_text title = {0};
    lay_text_add(&title, "%s: %s, %s before and %s after", lay_words_change_headline(x->verdict), c->after->unit->name,
                 c->before_name, c->after_name);
    lay_page_wrap(page, ink_of(x->verdict), "", title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_page_wrap(page, LAY_INK_PLAIN, "", x->summary);
}

static void conditions(const lay_compared *c, const lay_page *page) {
    const lay_comparison *x = c->comparison;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "What was compared");
    for (size_t j = 0; j < x->shared_count; j++) {
        const lay_shared *s = &x->shared[j];
        lay_text line = {0};
        lay_words_condition(s->gear, s->load, &line);
        lay_text_add(&line, ": %.0f to %.0f rpm, %.1f s before, %.1f s after", 60 * s->low_hz, 60 * s->high_hz,
                     s->before_s, s->after_s);
        lay_page_wrap(page, LAY_INK_PLAIN, "   - ", line.failed ? "" : line.text);
        lay_text_free(&line);
    }
    lay_quantity quantity = c->before->loudness.conditions[x->shared[0].before].quantity;
    lay_page_field(page, "Levels", "%s", lay_words_match(x, quantity));
    lay_page_field(page, "Repeats", "%s dB from one recording to the next (%s)", lay_words_number(x->repeat_db, 1).text,
                   x->repeat_known ? "as these show" : "a usual value");
}

static bool heard(const lay_part_change *p) {
    return p->change.before || p->change.after;
}

/* Columns that names of any length and script keep: what is too long is cut. */
static void row(const lay_page *page, lay_ink ink, const char *name, const char *change, const char *interval,
                const char *verdict) {
    char line[160];
    snprintf(line, sizeof line, "   %-*.*s %12.12s   %-16.16s %s", NAME_COLUMNS, NAME_COLUMNS, name, change, interval,
             verdict);
    lay_page_line(page, ink, line);
}

static void lines_of(const lay_compared *c, const lay_part_change *p, const lay_page *page) {
    for (size_t i = 0; i < p->line_count && i < LINES_LISTED; i++) {
        const lay_line_change *l = &p->lines[i];
        lay_text text = {0};
        lay_text_add(&text, "order %s", lay_words_number(l->order_after, 3).text);
        if (fabs(l->order_before - l->order_after) > 1e-3)
            lay_text_add(&text, " (%s before)", lay_words_number(l->order_before, 3).text);
        lay_text_add(&text, ", ");
        lay_words_line(c->after->unit, p, l, &text);
        lay_text_add(&text, ": %s dB", lay_words_change_db(&l->change).text);
        if (!isnan(l->change.low_db) && !isnan(l->change.high_db))
            lay_text_add(&text, " (%s)", lay_words_interval(&l->change).text);
        lay_page_wrap(page, LAY_INK_DIM, "        ", text.failed ? "" : text.text);
        lay_text_free(&text);
    }
}

static void notes_of(const lay_part_change *p, const lay_page *page) {
    lay_text text = {0};
    lay_text_add(&text, "%s", p->why);
    if (p->not_separable_from.count) {
        lay_text_add(&text, "; one wheel with");
        for (size_t i = 0; i < p->not_separable_from.count; i++)
            lay_text_add(&text, "%s %s", i ? "," : "", p->not_separable_from.items[i]);
        lay_text_add(&text, ": measured together");
    }
    if (!isnan(p->tnr_before_db) && !isnan(p->tnr_after_db)) lay_text_add(&text, "; ");
    lay_words_heard(p, &text);
    lay_page_wrap(page, LAY_INK_PLAIN, "     ", text.failed ? "" : text.text);
    lay_text_free(&text);
}

static void parts(const lay_compared *c, const lay_page *page) {
    const lay_comparison *x = c->comparison;
    lay_text quiet = {0};
    lay_page_blank(page);
    row(page, LAY_INK_BOLD, "Part", "change in dB", "95 of 100 cases", "verdict");
    for (size_t p = 0; p < x->part_count; p++) {
        const lay_part_change *part = &x->parts[p];
        if (!heard(part)) {
            lay_text_add(&quiet, "%s%s", quiet.length ? ", " : "", part->part);
            continue;
        }
        lay_text name = {0};
        lay_text_add(&name, "%s", part->part);
        row(page, ink_of(part->verdict), name.failed ? "" : name.text, lay_words_change_db(&part->change).text,
            lay_words_interval(&part->change).text, lay_words_change(part->verdict));
        lay_text_free(&name);
        notes_of(part, page);
        if (part->verdict != LAY_SAME) lines_of(c, part, page);
    }
    if (quiet.length && !quiet.failed) lay_page_wrap(page, LAY_INK_DIM, "   In the noise both times: ", quiet.text);
    lay_text_free(&quiet);
}

lay_status lay_report_compare_text(const lay_compared *c, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    headline(c, &page);
    conditions(c, &page);
    parts(c, &page);
    lay_page_list(&page, "Not as it was before", &c->comparison->differs);
    lay_page_list(&page, "Not compared", &c->comparison->missing);
    lay_page_blank(&page);
    lay_page_wrap(&page, LAY_INK_DIM, "", "Advice for an inspection, not a certificate.");
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

/* ---- several jobs ---- */

static const char *course_words(lay_course course) {
    static const char *const words[LAY_COURSE_COUNT] = {"settled", "still falling", "still rising", "open"};
    return words[course];
}

lay_status lay_report_trend_text(const lay_trend *t, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_page_blank(&page);
    lay_page_heading(&page, LAY_INK_BOLD, "Course over the jobs, in dB against the first");
    for (size_t k = 1; k < t->job_count; k++)
        lay_page_field(&page, k == 1 ? "Jobs" : "", "%zu: %s", k + 1, t->names[k]);
    for (size_t p = 0; p < t->part_count; p++) {
        const lay_trend_part *part = &t->parts[p];
        lay_text line = {0};
        for (size_t k = 0; k + 1 < t->job_count; k++)
            lay_text_add(&line, "%s%s", k ? ", " : "", lay_words_change_db(&part->since_first[k]).text);
        lay_text_add(&line, "; last step %s: %s", lay_words_interval(&part->last).text, course_words(part->course));
        lay_text lead = {0};
        lay_text_add(&lead, "%s: ", part->part);
        lay_text_add(&lead, "%s", line.failed ? "" : line.text);
        lay_page_wrap(&page, part->course == LAY_RISING ? LAY_INK_RED : LAY_INK_PLAIN, "   - ",
                      lead.failed ? "" : lead.text);
        lay_text_free(&line);
        lay_text_free(&lead);
    }
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
