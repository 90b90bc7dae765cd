#include "speed_words.h"

#include <math.h>
#include <string.h>

#include "words.h"

#define SHORTEST_GAP 0.2 /* s; a tach gives no angle before its first pulse */

lay_speed_summary lay_speed_summary_of(const lay_run_speed *speed) {
    lay_speed_summary s = {.source = speed->shaft.source, .confidence = speed->shaft.confidence};
    double revolutions;
    if (speed->found) lay_shaft_range(&speed->shaft, &s.min_hz, &s.mean_hz, &s.max_hz, &revolutions);
    return s;
}

static size_t segment_end(const lay_shaft *s, size_t k) {
    return k + 1 < s->segment_count ? s->segment_start[k + 1] : s->count;
}

double lay_speed_uncertainty(const lay_shaft *s) {
    double sum = 0, time = 0;
    for (size_t k = 0; s->sd != NULL && k < s->segment_count; k++)
        for (size_t i = s->segment_start[k] + 1; i < segment_end(s, k); i++) {
            double a = s->sd[i - 1] * s->hz[i - 1], b = s->sd[i] * s->hz[i], dt = s->time[i] - s->time[i - 1];
            sum += 0.5 * (a * a + b * b) * dt;
            time += dt;
        }
    return time > 0 ? sqrt(sum / time) : NAN;
}

lay_speed_piece lay_speed_segment(const lay_shaft *s, size_t k) {
    return (lay_speed_piece){s->time[s->segment_start[k]], s->time[segment_end(s, k) - 1]};
}

bool lay_speed_gap(const lay_run_speed *speed, size_t k, lay_speed_piece *out) {
    const lay_shaft *s = &speed->shaft;
    out->start_s = k > 0 ? lay_speed_segment(s, k - 1).end_s : 0;
    out->end_s = k < s->segment_count ? lay_speed_segment(s, k).start_s : speed->duration_s;
    return out->end_s - out->start_s >= SHORTEST_GAP;
}

const char *lay_speed_gear(const lay_unit *unit, const lay_speed_row *row) {
    int gear = row->speed->gear;
    if (gear >= 0 && (size_t)gear < unit->gear_count) return unit->gears[gear].name;
    return row->spec->gear != NULL ? row->spec->gear : "";
}

/* As it is shown, in whole per cent, so that words and number never contradict each other. */
static double shown(double confidence) {
    return round(100 * confidence) / 100;
}

double lay_speed_gear_chance(const lay_run_speed *speed) {
    if (speed->gear < 0) return 0;
    return speed->gear_probability != NULL ? shown(speed->gear_probability[speed->gear]) : 1;
}

bool lay_speed_confirmed(const lay_run_speed *speed) {
    return speed->found && shown(speed->shaft.confidence) >= LAY_SPEED_CONFIRMED;
}

const char *lay_speed_sure(double confidence) {
    double c = shown(confidence);
    return c >= 0.95                  ? "as good as certain"
           : c >= LAY_SPEED_SURE      ? "sure"
           : c >= LAY_SPEED_CONFIRMED ? "fairly sure"
                                      : "not confirmed";
}

/* "2110 rpm" or "1200 to 3200 rpm" */
static void stated(const lay_run_spec *spec, lay_text *out) {
    lay_text_add(out, "%s", lay_words_number(spec->rpm_low, 0).text);
    if (spec->rpm_high > spec->rpm_low) lay_text_add(out, " to %s", lay_words_number(spec->rpm_high, 0).text);
    lay_text_add(out, " rpm");
}

static const char *last_part(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/* The recording, and what narrowed the search. */
static void from_signal(const lay_run_spec *spec, lay_text *out) {
    if (spec->rpm_low > 0) {
        lay_text_add(out, "the recording, within the stated ");
        stated(spec, out);
    } else if (spec->road_speed_ms > 0) {
        lay_text_add(out, "the recording, near the stated road speed of %s km/h",
                     lay_words_number(3.6 * spec->road_speed_ms, 0).text);
    } else {
        lay_text_add(out, "the recording alone");
    }
}

void lay_speed_how(const lay_speed_row *row, lay_text *out) {
    const lay_run_spec *spec = row->spec;
    switch (row->speed->shaft.source) {
    case LAY_SPEED_TACH:
        lay_text_add(out, "tach pulses on channel %d", spec->tach_channel);
        break;
    case LAY_SPEED_LOG:
        lay_text_add(out, "the rpm log %s", spec->rpm_log != NULL ? last_part(spec->rpm_log) : "");
        break;
    case LAY_SPEED_STATED:
        lay_text_add(out, "the stated ");
        stated(spec, out);
        lay_text_add(out, !lay_speed_confirmed(row->speed) ? ", which the recording does not confirm"
                          : spec->rpm_high > spec->rpm_low ? ", followed on the recording"
                                                           : ", refined on the recording");
        break;
    case LAY_SPEED_SIGNAL:
        from_signal(spec, out);
        break;
    }
}

void lay_speed_next(const lay_speed_row *row, lay_text *out) {
    const lay_run_spec *spec = row->spec;
    const lay_run_speed *speed = row->speed;
    bool table = spec->line > 0;
    const char *rpm = table ? "in the rpm column of runs.csv" : "with --rpm";
    const char *tach = table ? "tach_channel in runs.csv" : "--tach-channel";
    double gear = lay_speed_gear_chance(speed);
    if (gear < LAY_SPEED_SURE)
        lay_text_add(out, "Say which gear it was, %s. ", table ? "in the gear column of runs.csv" : "with --gear");
    if (speed->found && shown(speed->shaft.confidence) >= LAY_SPEED_SURE) return;
    if (lay_speed_confirmed(speed)) {
        lay_text_add(out, "To be surer, record a tach pulse on a second channel (%s).", tach);
        return;
    }
    if (speed->found && speed->shaft.source == LAY_SPEED_TACH) {
        lay_text_add(out, "Look at the tach's own signal: clean pulses, the right channel, the right %s?",
                     table ? "pulses_per_rev" : "--pulses-per-rev");
        return;
    }
    if (spec->rpm_low <= 0)
        lay_text_add(out, "Say roughly how fast the shaft turned, %s, such as 2100 or 1200-3200. ", rpm);
    else
        lay_text_add(out,
                     "Check the stated rpm and the gear. Record again at steady speed, 10 s or more, under load, the "
                     "sensor on the case. ");
    lay_text_add(out, "Surest is a tach pulse on a second channel (%s).", tach);
}
