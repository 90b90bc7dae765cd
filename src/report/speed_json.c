/* The object of `layshaft speed --json`, and speed over time as CSV. */
#include <layshaft/report.h>

#include <math.h>

#include "run_json.h"
#include "speed_words.h"
#include "words.h"

static void piece(lay_json *j, lay_speed_piece p) {
    lay_json_open_object(j, NULL);
    lay_json_number(j, "start_s", p.start_s, 3);
    lay_json_number(j, "end_s", p.end_s, 3);
    lay_json_close_object(j);
}

static void pieces(lay_json *j, const lay_run_speed *speed) {
    lay_json_open_array(j, "pieces");
    for (size_t k = 0; k < speed->shaft.segment_count; k++) piece(j, lay_speed_segment(&speed->shaft, k));
    lay_json_close_array(j);
    lay_json_open_array(j, "gaps");
    for (size_t k = 0; k <= speed->shaft.segment_count; k++) {
        lay_speed_piece gap;
        if (lay_speed_gap(speed, k, &gap)) piece(j, gap);
    }
    lay_json_close_array(j);
}

static void gears(lay_json *j, const lay_unit *unit, const lay_run_speed *speed) {
    lay_json_open_array(j, "gears");
    for (size_t i = 0; speed->gear_probability != NULL && i < unit->gear_count; i++) {
        lay_json_open_object(j, NULL);
        lay_json_string(j, "gear", unit->gears[i].name);
        lay_json_number(j, "probability", speed->gear_probability[i], 4);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

static void one_run(lay_json *j, const lay_unit *unit, const lay_speed_row *row) {
    lay_speed_summary summary = lay_speed_summary_of(row->speed);
    lay_json_open_object(j, NULL);
    lay_json_integer(j, "run", (long long)row->number);
    lay_json_string(j, "file", row->spec->file);
    lay_json_word(j, "gear", lay_speed_gear(unit, row));
    lay_json_number(j, "duration_s", row->speed->duration_s, 3);
    lay_json_speed(j, &summary);
    lay_json_number(j, "uncertainty_rpm", 60 * lay_speed_uncertainty(&row->speed->shaft), 3);
    pieces(j, row->speed);
    gears(j, unit, row->speed);
    lay_json_sentences(j, "warnings", &row->speed->warnings);
    lay_json_string(j, "picture", row->picture);
    lay_json_close_object(j);
}

lay_status lay_report_speed_json(const lay_unit *unit, const lay_speed_row *rows, size_t count, bool indented,
                                 lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, unit);
    lay_json_open_array(&j, "runs");
    for (size_t i = 0; i < count; i++) one_run(&j, unit, &rows[i]);
    lay_json_close_array(&j);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_speed_csv(const lay_shaft *shaft, double step_s, lay_text *out) {
    size_t hint = 0;
    lay_text_add(out, "time_s,rpm\n");
    for (size_t k = 0; k < shaft->segment_count; k++) {
        lay_speed_piece p = lay_speed_segment(shaft, k);
        for (double i = ceil(p.start_s / step_s - 1e-9); i * step_s <= p.end_s + 1e-9; i++) {
            double turns, hz, t = fmin(fmax(i * step_s, p.start_s), p.end_s);
            if (!lay_shaft_at(shaft, t, &hint, &turns, &hz)) continue;
            lay_text_add(out, "%s,%s\n", lay_words_number(i * step_s, 3).text, lay_words_number(60 * hz, 2).text);
        }
    }
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
