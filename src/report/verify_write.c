/* The run-in record as a page to print. */
#include "html.h"
#include "markup.h"
#include "words.h"

#include <math.h>
#include <stdlib.h>

static void conditions(const lay_run_in *r, const lay_fields *fields) {
    for (size_t i = 0; i < r->job->loudness.count; i++) {
        const lay_loud_condition *c = &r->job->loudness.conditions[i];
        double seconds = 0;
        for (size_t b = 0; b < c->bands; b++) seconds += c->seconds[b];
        lay_field(fields, i ? "" : "Recorded", "gear %s, %s: %.0f to %.0f rpm, %.0f s", c->gear,
                  lay_words_load(c->load), 60 * exp(LAY_BAND * c->first_band),
                  60 * exp(LAY_BAND * (c->first_band + (double)c->bands)), seconds);
    }
}

static void head(const lay_run_in *r, lay_text *out) {
    const lay_verification *v = r->verification;
    bool failed = false;
    for (size_t p = 0; p < v->part_count; p++) failed |= v->parts[p].tested && !v->parts[p].pass;
    lay_text_add(out, "<section class=\"%s\"><p class=\"outcome\">%s</p>\n",
                 v->pass  ? "clear"
                 : failed ? "attention"
                          : "inconclusive",
                 v->pass  ? "Pass"
                 : failed ? "Fail"
                          : "Not tested");
    lay_html_element(out, "h1", v->summary);
    lay_text_add(out, "<dl>\n");
    lay_fields fields = lay_html_fields(out);
    lay_field(&fields, "Unit", "%s", r->job->unit->name);
    lay_field(&fields, "Serial", "%s", r->serial ? r->serial : "____________");
    lay_field(&fields, "Date", "%s", r->date ? r->date : "____________");
    lay_field(&fields, "By", "%s", r->by ? r->by : "____________");
    lay_field(&fields, "Job", "%s", r->job_name);
    if (v->by_hand)
        lay_field(&fields, "Limits", "%s, set by hand", r->baseline_name);
    else
        lay_field(&fields, "Limits", "%s: %zu good units; half of the meshes may be up to %s dB louder than their mean",
                  r->baseline_name, v->units, lay_words_number(v->median_db, 1).text);
    conditions(r, &fields);
    lay_text_add(out, "</dl></section>\n");
}

static void parts(const lay_run_in *r, lay_text *out) {
    const lay_verification *v = r->verification;
    lay_text_add(out,
                 "<section><h2>Part by part</h2>\n<table>\n<tr><th class=\"maker\">Part</th><th "
                 "class=\"maker\">Result</th><th>%s, dB</th><th>Limit, dB</th><th>Margin, dB</th><th "
                 "class=\"maker\">Nearest to its limit</th></tr>\n",
                 v->by_hand ? "Level" : "Louder than the mean");
    for (size_t p = 0; p < v->part_count; p++) {
        const lay_verified_part *part = &v->parts[p];
        const double numbers[] = {part->rise_db, part->limit_db, part->margin_db};
        lay_text_add(out, "<tr><td class=\"maker\">");
        lay_markup_text(out, part->part);
        lay_text_add(out, "</td><td class=\"maker\"><b>%s</b></td>",
                     !part->tested ? "not tested"
                     : part->pass  ? "pass"
                                   : "FAIL");
        for (int k = 0; k < 3; k++) lay_html_element(out, "td", lay_words_number(numbers[k], 1).text);
        lay_text_add(out, "<td class=\"maker\">");
        lay_markup_text(out, part->where);
        lay_text_add(out, "</td></tr>\n");
    }
    lay_text_add(out, "</table></section>\n");
}

static void page(const lay_run_in *r, lay_text *out) {
    lay_text title = {0};
    lay_text_add(&title, "%s: run-in record", r->job->unit->name);
    lay_html_begin(out, title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_text_add(out, "<header><p>Run-in record</p></header>\n<main>\n");
    head(r, out);
    parts(r, out);
    lay_html_headed_list(out, "Not tested, because it was not recorded", &r->verification->missing);
    lay_html_headed_list(out, "Left out of the limits", &r->verification->odd);
    lay_text_add(out,
                 "<p class=\"caution\"><b>On the stand:</b> secure the unit and what takes its torque, guard shafts "
                 "and couplings, nobody in line with them. Local codes and licensed practice come first.</p>\n");
    lay_html_end(out, "A record of what was measured on the stand on that day, to inspect by. It certifies nothing.");
}

static lay_status save(const char *folder, const char *name, const lay_text *text, lay_error *err) {
    char *path = lay_path_join(folder, name);
    lay_status status = path && !text->failed && text->text
                            ? lay_write_file(path, text->text, text->length, err)
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to write");
    free(path);
    return status;
}

lay_status lay_report_verify_write(const lay_run_in *record, const char *folder, lay_error *err) {
    lay_text text = {0}, json = {0}, html = {0};
    lay_report_verify_text(record, false, 80, &text);
    lay_report_verify_json(record, true, &json);
    page(record, &html);
    lay_status status = lay_make_folder(folder, err);
    if (status == LAY_OK) status = save(folder, "run-in.txt", &text, err);
    if (status == LAY_OK) status = save(folder, "run-in.json", &json, err);
    if (status == LAY_OK) status = save(folder, "run-in.html", &html, err);
    lay_text_free(&text);
    lay_text_free(&json);
    lay_text_free(&html);
    return status;
}
