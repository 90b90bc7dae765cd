#include "json.h"

#include <math.h>
#include <stdio.h>

#include "utf8.h"
#include "words.h"

static void line_break(lay_json *j) {
    if (j->indented) lay_text_add(j->out, "\n%*s", 2 * j->depth, "");
}

static void quoted(lay_json *j, const char *s) {
    uint32_t code;
    lay_text_add(j->out, "\"");
    for (size_t n; (n = lay_utf8_next(s, &code)) > 0; s += n) {
        if (code == '"' || code == '\\')
            lay_text_add(j->out, "\\%c", (int)code);
        else if (code == '\n')
            lay_text_add(j->out, "\\n");
        else if (code < 0x20 || code == 0x7F)
            lay_text_add(j->out, "\\u%04x", (unsigned)code);
        else if (code == 0xFFFD)
            lay_text_add(j->out, "\xEF\xBF\xBD");
        else
            lay_text_add(j->out, "%.*s", (int)n, s);
    }
    lay_text_add(j->out, "\"");
}

/* What goes before a value: comma, line break, member name. */
static void begin(lay_json *j, const char *name) {
    if (j->depth > 0) {
        if (j->filled[j->depth - 1]) lay_text_add(j->out, j->indented ? "," : ", ");
        j->filled[j->depth - 1] = true;
        line_break(j);
    }
    if (name == NULL) return;
    quoted(j, name);
    lay_text_add(j->out, ": ");
}

static void open_level(lay_json *j, const char *name, const char *bracket) {
    begin(j, name);
    lay_text_add(j->out, "%s", bracket);
    if (j->depth < LAY_JSON_DEPTH)
        j->filled[j->depth++] = false;
    else
        j->out->failed = true; /* deeper than anything we write */
}

static void close_level(lay_json *j, const char *bracket) {
    if (j->depth == 0) return;
    bool filled = j->filled[--j->depth];
    if (filled) line_break(j);
    lay_text_add(j->out, "%s", bracket);
    if (j->depth == 0) lay_text_add(j->out, "\n");
}

void lay_json_open_object(lay_json *j, const char *name) {
    open_level(j, name, "{");
}
void lay_json_close_object(lay_json *j) {
    close_level(j, "}");
}
void lay_json_open_array(lay_json *j, const char *name) {
    open_level(j, name, "[");
}
void lay_json_close_array(lay_json *j) {
    close_level(j, "]");
}

void lay_json_string(lay_json *j, const char *name, const char *value) {
    begin(j, name);
    if (value == NULL)
        lay_text_add(j->out, "null");
    else
        quoted(j, value);
}

void lay_json_word(lay_json *j, const char *name, const char *value) {
    lay_json_string(j, name, value != NULL && *value ? value : NULL);
}

void lay_json_number(lay_json *j, const char *name, double value, int decimals) {
    begin(j, name);
    lay_text_add(j->out, "%s", isfinite(value) ? lay_words_number(value, decimals).text : "null");
}

void lay_json_integer(lay_json *j, const char *name, long long value) {
    begin(j, name);
    lay_text_add(j->out, "%lld", value);
}

void lay_json_bool(lay_json *j, const char *name, bool value) {
    begin(j, name);
    lay_text_add(j->out, value ? "true" : "false");
}

void lay_json_null(lay_json *j, const char *name) {
    begin(j, name);
    lay_text_add(j->out, "null");
}
