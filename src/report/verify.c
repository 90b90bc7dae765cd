/* The run-in record as text and JSON. */
#include <layshaft/report.h>

#include <math.h>
#include <stdio.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

static const char *verdict(const lay_verification *v) {
    bool failed = false;
    for (size_t p = 0; p < v->part_count; p++) failed |= v->parts[p].tested && !v->parts[p].pass;
    return v->pass ? "PASS" : failed ? "FAIL" : "NOT TESTED";
}

static lay_ink ink_of(const lay_verified_part *p) {
    return !p->tested ? LAY_INK_YELLOW : p->pass ? LAY_INK_PLAIN : LAY_INK_RED;
}

static void head(const lay_run_in *r, const lay_page *page) {
    const lay_verification *v = r->verification;
    lay_text title = {0};
    lay_text_add(&title, "%s: %s, run-in record", verdict(v), r->job->unit->name);
    lay_page_wrap(page, v->pass ? LAY_INK_GREEN : LAY_INK_RED, "", title.failed ? "" : title.text);
    lay_text_free(&title);
    lay_page_wrap(page, LAY_INK_PLAIN, "", v->summary);
    lay_page_blank(page);
    lay_page_field(page, "Job", "%s", r->job_name);
    lay_page_field(page, "Serial", "%s", r->serial ? r->serial : "-");
    lay_page_field(page, "Date", "%s", r->date ? r->date : "-");
    lay_page_field(page, "By", "%s", r->by ? r->by : "-");
    if (v->by_hand)
        lay_page_field(page, "Limits", "%s, set by hand", r->baseline_name);
    else
        lay_page_field(page, "Limits",
                       "%s: %zu good units; half of the meshes may be up to %s dB louder than their mean",
                       r->baseline_name, v->units, lay_words_number(v->median_db, 1).text);
    for (size_t i = 0; i < r->job->loudness.count; i++) {
        const lay_loud_condition *c = &r->job->loudness.conditions[i];
        double seconds = 0;
        for (size_t b = 0; b < c->bands; b++) seconds += c->seconds[b];
        lay_page_field(page, i ? "" : "Recorded", "gear %s, %s: %.0f to %.0f rpm, %.0f s", c->gear,
                       lay_words_load(c->load), 60 * exp(LAY_BAND * c->first_band),
                       60 * exp(LAY_BAND * (c->first_band + (double)c->bands)), seconds);
    }
}

static void parts(const lay_run_in *r, const lay_page *page) {
    const lay_verification *v = r->verification;
    lay_page_blank(page);
    char line[160];
    snprintf(line, sizeof line, "   %-20s %-10s %8s %8s   margin in dB", "Part", "", v->by_hand ? "level" : "louder",
             "limit");
    lay_page_line(page, LAY_INK_BOLD, line);
    for (size_t p = 0; p < v->part_count; p++) {
        const lay_verified_part *part = &v->parts[p];
        snprintf(line, sizeof line, "   %-20.20s %-10s %8s %8s   %s", part->part,
                 !part->tested ? "not tested"
                 : part->pass  ? "pass"
                               : "FAIL",
                 lay_words_number(part->rise_db, 1).text, lay_words_number(part->limit_db, 1).text,
                 lay_words_number(part->margin_db, 1).text);
        lay_page_line(page, ink_of(part), line);
        if (!part->pass) lay_page_wrap(page, ink_of(part), "        ", part->where);
    }
}

lay_status lay_report_verify_text(const lay_run_in *r, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    head(r, &page);
    parts(r, &page);
    lay_page_list(&page, "Not tested, because it was not recorded", &r->verification->missing);
    lay_page_list(&page, "Left out of the limits", &r->verification->odd);
    lay_page_blank(&page);
    lay_page_wrap(&page, LAY_INK_DIM, "",
                  "A record of what was measured on the stand on that day, to inspect by; it certifies nothing. On the "
                  "stand: secure the unit and what takes its torque, guard shafts and couplings, nobody in line with "
                  "them. Local codes and licensed practice come first.");
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_verify_json(const lay_run_in *r, bool indented, lay_text *out) {
    const lay_verification *v = r->verification;
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, r->job->unit);
    lay_json_string(&j, "job", r->job_name);
    lay_json_string(&j, "serial", r->serial);
    lay_json_string(&j, "by", r->by);
    lay_json_string(&j, "date", r->date);
    lay_json_string(&j, v->by_hand ? "limits" : "baseline", r->baseline_name);
    lay_json_bool(&j, "pass", v->pass);
    lay_json_bool(&j, "tested", v->tested);
    lay_json_string(&j, "summary", v->summary);
    lay_json_integer(&j, "units", (long long)v->units);
    lay_json_open_array(&j, "parts");
    for (size_t p = 0; p < v->part_count; p++) {
        const lay_verified_part *part = &v->parts[p];
        lay_json_open_object(&j, NULL);
        lay_json_string(&j, "part", part->part);
        lay_json_bool(&j, "pass", part->pass);
        lay_json_number(&j, "margin_db", part->margin_db, 2);
        lay_json_bool(&j, "tested", part->tested);
        lay_json_number(&j, v->by_hand ? "level_db" : "rise_db", part->rise_db, 2);
        lay_json_number(&j, "limit_db", part->limit_db, 2);
        lay_json_string(&j, "where", part->where);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_strings(&j, "missing", &v->missing);
    lay_json_strings(&j, "left_out", &v->odd);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
