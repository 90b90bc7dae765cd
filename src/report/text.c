#include "text.h"

#include "fields.h"
#include "words.h"

size_t lay_report_run_count(const lay_report_view *view) {
    size_t rows = view->table->count, runs = view->d->run_count;
    return rows < runs ? rows : runs;
}

static void heading(const lay_report_view *view, const lay_page *page) {
    static const lay_ink inks[] = {[LAY_ATTENTION] = LAY_INK_RED,
                                   [LAY_OUTSIDE] = LAY_INK_YELLOW,
                                   [LAY_CLEAR] = LAY_INK_GREEN,
                                   [LAY_INCONCLUSIVE] = LAY_INK_YELLOW};
    const lay_verdict *v = &view->d->verdict;
    lay_page_heading(page, LAY_INK_BOLD, view->unit->name);
    lay_page_blank(page);
    lay_page_heading(page, (size_t)v->outcome < sizeof inks / sizeof inks[0] ? inks[v->outcome] : LAY_INK_BOLD,
                     lay_words_outcome(v->outcome));
    if (v->summary != NULL) lay_page_wrap(page, LAY_INK_PLAIN, "", v->summary);
}

static void add_recordings(const lay_report_view *view, const lay_page *page) {
    const lay_strings *add = &view->d->verdict.add;
    if (add->count == 0) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD,
                     add->count == 1 ? "One recording more would settle it" : "Recordings that would settle it");
    for (size_t i = 0; i < add->count; i++) lay_page_wrap(page, LAY_INK_PLAIN, "   - ", add->items[i]);
}

/* The parts of one state on a line each kind, in the words of the workshop. */
static void parts_in(const lay_report_view *view, const lay_page *page, lay_part_state state, const char *label) {
    lay_text names = {0};
    lay_part_names(view, state, &names);
    if (names.length > 0) lay_page_field(page, label, "%s", names.failed ? "" : names.text);
    lay_text_free(&names);
}

static void may_stay(const lay_report_view *view, const lay_page *page) {
    if (view->d->verdict.part_count == 0) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, "What may stay, as far as these recordings tell");
    parts_in(view, page, LAY_STATE_CLEARED, "May stay");
    parts_in(view, page, LAY_STATE_OPEN, "Open");
    parts_in(view, page, LAY_STATE_UNTESTED, "Not tested");
}

static void advice(const lay_page *page) {
    lay_page_blank(page);
    lay_page_wrap(
        page, LAY_INK_DIM, "",
        "This verdict is advice on where to look when the unit is opened. It is never a certificate that a part is "
        "good or bad: inspect before you replace.");
}

lay_status lay_report_text(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d, bool colour,
                           int width, lay_text *out) {
    lay_report_view view = {unit, table, d};
    lay_page page = lay_page_on(out, colour, width);
    heading(&view, &page);
    lay_report_text_suspects(&view, &page);
    may_stay(&view, &page);
    add_recordings(&view, &page);
    lay_report_text_runs(&view, &page);
    advice(&page);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
