/* Writing JSON (RFC 8259): commas, indentation, escapes and numbers in one place. */
#ifndef LAYSHAFT_REPORT_JSON_H
#define LAYSHAFT_REPORT_JSON_H

#include <layshaft/base.h>

#define LAY_JSON_DEPTH 16

/* Start with {.out = ..., .indented = ...}. Inside an object every value is given with its member's name, inside an
 * array and at the top with NULL. */
typedef struct lay_json {
    lay_text *out;
    bool indented;
    int depth;
    bool filled[LAY_JSON_DEPTH]; /* the level has a value already: a comma goes before the next */
} lay_json;

void lay_json_open_object(lay_json *j, const char *name);
void lay_json_close_object(lay_json *j);
void lay_json_open_array(lay_json *j, const char *name);
void lay_json_close_array(lay_json *j);
/* NULL gives null; bytes that are no UTF-8 become U+FFFD. */
void lay_json_string(lay_json *j, const char *name, const char *value);
/* The member is null when `value` is empty. */
void lay_json_word(lay_json *j, const char *name, const char *value);
/* Rounded to `decimals`; null when not finite. */
void lay_json_number(lay_json *j, const char *name, double value, int decimals);
void lay_json_integer(lay_json *j, const char *name, long long value);
void lay_json_bool(lay_json *j, const char *name, bool value);
void lay_json_null(lay_json *j, const char *name);

#endif
