/* What `layshaft record` says of a recording it made. */
#include <layshaft/report.h>

#include <math.h>
#include <string.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

/* ---- text ---- */

static double seconds_of(const lay_recorded *r) {
    return r->state->rate > 0 ? (double)r->state->kept / r->state->rate : 0;
}

static const char *ended_words(const lay_recorded *r) {
    static const struct {
        const char *name, *words;
    } ends[] = {{"time", "ended when the time was over"},
                {"key", "ended by key"},
                {"signal", "ended by Ctrl-C or a signal"},
                {"device", "the device stopped"},
                {"disk", "the disk took no more"}};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++)
        if (strcmp(r->ended, ends[i].name) == 0) return ends[i].words;
    return r->ended;
}

/* Full scale of a channel (from 0) in the run's own quantity. */
static lay_run_spec calibration_of(const lay_recorded *r, int channel) {
    lay_run_spec spec = {.full_scale = r->spec->full_scale, .quantity = r->spec->quantity};
    size_t place = 0; /* among the analysed channels */
    if (r->spec->channel_count > 0)
        while (place < r->spec->channel_count && r->spec->channels[place] != channel + 1) place++;
    else
        for (int c = 0; c < channel; c++) place += c + 1 != r->spec->tach_channel;
    if (place < r->spec->gain_count) spec.full_scale *= r->spec->gains[place];
    return spec;
}

static double level_of(const lay_recorded *r, int channel) {
    const lay_run_spec spec = calibration_of(r, channel);
    return lay_level_db(r->checks[channel].rms * r->checks[channel].rms, &spec);
}

static void levels(const lay_page *page, const lay_recorded *r) {
    for (int c = 0; r->checks && c < r->state->channels; c++) {
        const lay_channel_check *check = &r->checks[c];
        double peak = check->peak > 0 ? 20 * log10(check->peak) : NAN;
        if (check->silent)
            lay_page_field(page, c == 0 ? "Level" : "", "channel %d: no signal", c + 1);
        else if (c + 1 == r->spec->tach_channel)
            lay_page_field(page, c == 0 ? "Level" : "", "channel %d: tach, peak %s dB of full scale", c + 1,
                           lay_words_number(peak, 1).text);
        else
            lay_page_field(page, c == 0 ? "Level" : "", "channel %d: peak %s dB of full scale, mean %s dB re %s", c + 1,
                           lay_words_number(peak, 1).text, lay_words_number(level_of(r, c), 1).text,
                           lay_quantity_reference(r->spec->quantity));
    }
}

static void losses(const lay_page *page, const lay_recorded *r) {
    const lay_capture_state *s = r->state;
    if (s->lost == 0 && s->overruns == 0) {
        lay_page_field(page, "Lost", "nothing");
        return;
    }
    if (s->overruns == 0 && s->first_loss_s >= seconds_of(r)) {
        lay_page_field(page, "Lost", "what came after the end of the recording, at %s s",
                       lay_words_number(seconds_of(r), 1).text);
        return;
    }
    lay_page_field(page, "Lost", "%s%s%s, first at %s s: do not rely on what is near; record again if you can",
                   s->lost > 0 ? lay_words_number((double)s->lost, 0).text : "",
                   s->lost > 0 ? " samples, silence stands for them" : "",
                   s->overruns > 0 ? " the device itself dropped samples" : "",
                   lay_words_number(s->first_loss_s, 1).text);
}

lay_status lay_report_recorded_text(const lay_recorded *r, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    lay_text_add(&title, "Recorded %s", r->spec->path);
    lay_page_wrap(&page, LAY_INK_BOLD, "", title.failed ? r->spec->path : title.text);
    lay_text_free(&title);
    lay_page_field(&page, "Length", "%s s, %d channel%s, %s samples per second, %d bit; %s",
                   lay_words_number(seconds_of(r), 1).text, r->state->channels, r->state->channels == 1 ? "" : "s",
                   lay_words_number(r->state->rate, 0).text, r->state->bits, ended_words(r));
    if (r->trouble) lay_page_field(&page, "Trouble", "%s", r->trouble);
    lay_page_field(&page, "Row", "%zu of runs.csv: %s%s, %s", r->number, r->spec->gear[0] ? "gear " : "gear not stated",
                   r->spec->gear, lay_words_load(r->spec->load));
    losses(&page, r);
    levels(&page, r);
    if (r->tach)
        lay_page_field(&page, "Tach", "%s to %s rpm; %d pulses missing, %d too many, %d odd",
                       lay_words_number(60 * r->tach->min_hz, 0).text, lay_words_number(60 * r->tach->max_hz, 0).text,
                       r->tach->missing, r->tach->extra, r->tach->glitches);
    if (r->warnings->length > 0) {
        lay_page_field(&page, "Mind", "%s", "");
        lay_page_sentences(&page, LAY_INK_YELLOW, "   - ", r->warnings);
    }
    if (r->next) lay_page_field(&page, "Next", "%s", r->next);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

/* ---- JSON ---- */

static void channels_json(lay_json *j, const lay_recorded *r) {
    lay_json_open_array(j, "channels");
    for (int c = 0; r->checks && c < r->state->channels; c++) {
        const lay_channel_check *check = &r->checks[c];
        bool tach = c + 1 == r->spec->tach_channel;
        lay_json_open_object(j, NULL);
        lay_json_integer(j, "channel", c + 1);
        lay_json_bool(j, "tach", tach);
        lay_json_number(j, "peak", check->peak, 6);
        lay_json_number(j, "level_db", tach ? NAN : level_of(r, c), 2);
        lay_json_integer(j, "clipped_samples", check->clipped);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

static void tach_json(lay_json *j, const lay_tach_look *tach) {
    if (!tach) {
        lay_json_null(j, "tach");
        return;
    }
    lay_json_open_object(j, "tach");
    lay_json_number(j, "min_rpm", 60 * tach->min_hz, 1);
    lay_json_number(j, "max_rpm", 60 * tach->max_hz, 1);
    lay_json_integer(j, "missing_pulses", tach->missing);
    lay_json_integer(j, "extra_pulses", tach->extra);
    lay_json_integer(j, "odd_pulses", tach->glitches);
    lay_json_close_object(j);
}

lay_status lay_report_recorded_json(const lay_recorded *r, bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, r->unit);
    lay_json_integer(&j, "run", (long long)r->number);
    lay_json_string(&j, "file", r->spec->file);
    lay_json_word(&j, "gear", r->spec->gear);
    lay_json_word(&j, "load", lay_load_name(r->spec->load));
    lay_json_number(&j, "duration_s", seconds_of(r), 3);
    lay_json_number(&j, "rate", r->state->rate, 3);
    lay_json_integer(&j, "bits", r->state->bits);
    lay_json_string(&j, "device", r->state->device);
    lay_json_string(&j, "ended_by", r->ended);
    lay_json_string(&j, "trouble", r->trouble);
    lay_json_integer(&j, "lost_samples", r->state->lost);
    lay_json_integer(&j, "device_overruns", r->state->overruns);
    lay_json_number(&j, "first_loss_s", r->state->first_loss_s, 3);
    lay_json_string(&j, "level_reference", lay_quantity_reference(r->spec->quantity));
    channels_json(&j, r);
    tach_json(&j, r->tach);
    lay_json_sentences(&j, "warnings", r->warnings);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
