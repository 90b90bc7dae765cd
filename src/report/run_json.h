/* JSON members that several commands share. */
#ifndef LAYSHAFT_REPORT_RUN_JSON_H
#define LAYSHAFT_REPORT_RUN_JSON_H

#include <layshaft/judge.h>

#include "json.h"

/* Opens the one object of a command's answer: "layshaft", "format", "unit" (null without one). */
void lay_json_open_answer(lay_json *j, const lay_unit *unit);

typedef struct lay_speed_summary {
    lay_speed_source source;
    double min_hz, mean_hz, max_hz; /* mean 0: no speed is known */
    double confidence;
} lay_speed_summary;

/* "speed": {"source", "mean_rpm", "min_rpm", "max_rpm", "confidence"}. */
void lay_json_speed(lay_json *j, const lay_speed_summary *s);
/* An array of the strings. */
void lay_json_strings(lay_json *j, const char *name, const lay_strings *list);
/* An array with one string per line of `sentences`. */
void lay_json_sentences(lay_json *j, const char *name, const lay_text *sentences);

#endif
