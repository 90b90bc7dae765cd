/* What `layshaft record` says of a calibration and of a rescue. */
#include <layshaft/report.h>

#include <math.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

static const char *unit_of(const lay_calibration *c) {
    return c->quantity == LAY_PRESSURE ? "Pa" : "m/s2";
}

/* Of what is measured on from here on: three digits would hide what a tenth of a decibel is. */
static lay_decimal digits(double value) {
    int decimals = value > 0 ? (int)fmax(0, 3 - floor(log10(value))) : 3;
    return lay_words_number(value, decimals);
}

lay_status lay_report_calibrated_text(const lay_calibrated *c, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    lay_text_add(&title, "Channel %d: full scale is %s %s", c->calibration->channel,
                 digits(c->calibration->full_scale).text, unit_of(c->calibration));
    lay_page_wrap(&page, LAY_INK_BOLD, "", title.failed ? "calibrated" : title.text);
    lay_text_free(&title);
    lay_page_field(&page, "Tone", "%s Hz, steady within %s dB over %s s, %s dB above everything else",
                   lay_words_number(c->tone->hz, 1).text, lay_words_number(c->tone->steady_db, 2).text,
                   lay_words_number(c->tone->seconds, 1).text, lay_words_number(c->tone->above_noise_db, 0).text);
    lay_page_field(&page, "Device", "%s; change its gain and this no longer holds", c->device);
    lay_page_field(&page, "File", "%s", c->file);
    if (c->warnings->length > 0) {
        lay_page_field(&page, "Mind", "%s", "");
        lay_page_sentences(&page, LAY_INK_YELLOW, "   - ", c->warnings);
    }
    lay_page_field(&page, "Next", "the following recordings of this job carry it");
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_calibrated_json(const lay_calibrated *c, bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, c->unit);
    lay_json_integer(&j, "channel", c->calibration->channel);
    lay_json_number(&j, "full_scale", c->calibration->full_scale, 6);
    lay_json_string(&j, "unit_of_full_scale", unit_of(c->calibration));
    lay_json_number(&j, "hz", c->tone->hz, 3);
    lay_json_number(&j, "steady_db", c->tone->steady_db, 3);
    lay_json_number(&j, "above_noise_db", c->tone->above_noise_db, 2);
    lay_json_string(&j, "device", c->device);
    lay_json_string(&j, "when", c->calibration->when);
    lay_json_string(&j, "file", c->file);
    lay_json_sentences(&j, "warnings", c->warnings);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_rescue_json(const lay_unit *unit, int longer, int rows, const lay_text *said, lay_text *out) {
    lay_json j = {.out = out};
    lay_json_open_answer(&j, unit);
    lay_json_integer(&j, "recordings_made_whole", longer);
    lay_json_integer(&j, "rows_added", rows);
    lay_json_sentences(&j, "said", said);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
