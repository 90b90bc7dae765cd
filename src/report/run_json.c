#include "run_json.h"

#include <math.h>
#include <string.h>

void lay_json_open_answer(lay_json *j, const lay_unit *unit) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "layshaft", LAY_VERSION);
    lay_json_integer(j, "format", 1);
    lay_json_string(j, "unit", unit ? unit->name : NULL);
}

void lay_json_speed(lay_json *j, const lay_speed_summary *s) {
    bool known = s->mean_hz > 0.0;
    lay_json_open_object(j, "speed");
    lay_json_string(j, "source", known ? lay_speed_source_name(s->source) : NULL);
    lay_json_number(j, "mean_rpm", known ? s->mean_hz * 60.0 : NAN, 1);
    lay_json_number(j, "min_rpm", known ? s->min_hz * 60.0 : NAN, 1);
    lay_json_number(j, "max_rpm", known ? s->max_hz * 60.0 : NAN, 1);
    lay_json_number(j, "confidence", known ? s->confidence : 0.0, 3);
    lay_json_close_object(j);
}

void lay_json_sentences(lay_json *j, const char *name, const lay_text *sentences) {
    lay_json_open_array(j, name);
    for (const char *at = sentences->text; at != NULL && *at;) {
        size_t n = strcspn(at, "\n");
        lay_text one = {0};
        lay_text_add(&one, "%.*s", (int)n, at);
        if (one.failed)
            j->out->failed = true;
        else if (n > 0)
            lay_json_string(j, NULL, one.text);
        lay_text_free(&one);
        at += n + (at[n] == '\n');
    }
    lay_json_close_array(j);
}

void lay_json_strings(lay_json *j, const char *name, const lay_strings *list) {
    lay_json_open_array(j, name);
    for (size_t i = 0; i < list->count; i++) lay_json_string(j, NULL, list->items[i]);
    lay_json_close_array(j);
}
