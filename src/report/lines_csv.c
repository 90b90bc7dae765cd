#include "lines_csv.h"

#include <math.h>
#include <string.h>

#include "utf8.h"
#include "words.h"

/* Quoted where it has to be. */
static void cell(lay_text *out, const char *text) {
    lay_text clean = {0};
    lay_utf8_clean(&clean, text);
    const char *s = clean.failed || clean.text == NULL ? "" : clean.text;
    bool quoted = strpbrk(s, ",\"") != NULL;
    lay_text_add(out, "%s", quoted ? ",\"" : ",");
    for (; *s; s++) lay_text_add(out, *s == '"' ? "\"\"" : "%c", *s);
    if (quoted) lay_text_add(out, "\"");
    if (clean.failed) out->failed = true;
    lay_text_free(&clean);
}

static void number(lay_text *out, double value, int decimals) {
    lay_text_add(out, ",%s", isfinite(value) ? lay_words_number(value, decimals).text : "");
}

static void row(const lay_report_view *view, size_t index, const lay_explained_line *l, lay_text *out) {
    static const lay_claim none = {.class_ = LAY_LINE_UNKNOWN, .part = -1, .body = -1, .probability = NAN};
    const lay_run_evidence *run = &view->d->runs[index];
    const lay_run_spec *spec = &view->table->runs[index];
    const lay_claim *c = l->claim_count > 0 ? &l->claims[0] : &none;
    lay_text_add(out, "%zu", index + 1);
    cell(out, spec->file);
    cell(out, lay_words_gear(view->unit, spec, run));
    cell(out, lay_load_name(run->load));
    number(out, l->line.order, 4);
    number(out, l->line.hz, 2);
    number(out, lay_level_db(l->line.power, spec), 2);
    cell(out, lay_quantity_reference(run->quantity));
    number(out, l->line.above_floor_db, 2);
    number(out, l->line.tnr_db, 2);
    cell(out, lay_line_class_name(c->class_));
    cell(out, lay_words_part(run, c));
    lay_text_add(out, ",%d,%d", c->harmonic, c->sideband);
    cell(out, lay_words_body(view->unit, c->body));
    number(out, c->probability, 4);
    lay_text_add(out, "\r\n");
}

void lay_lines_csv(const lay_report_view *view, lay_text *out) {
    lay_text_add(out, "run,file,gear,load,order,hz,level_db,level_reference,above_floor_db,prominence_db,class,part,"
                      "harmonic,sideband,body,probability\r\n");
    for (size_t i = 0; i < lay_report_run_count(view); i++)
        for (size_t k = 0; k < view->d->runs[i].line_count; k++) row(view, i, &view->d->runs[i].lines[k], out);
}
