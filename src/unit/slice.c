/* Words of the unit file: blanks and case do not matter. */
#include "ini.h"

#include <string.h>

static bool is_blank(char c) {
    return c == ' ' || c == '\t';
}

static char lower(char c) {
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

struct unit_slice unit_slice_trim(struct unit_slice s) {
    while (s.length > 0 && is_blank(s.at[0])) {
        s.at++;
        s.length--;
    }
    while (s.length > 0 && is_blank(s.at[s.length - 1])) s.length--;
    return s;
}

/* Next character of a slice for comparing: lower case, a run of blanks read as one space, 0 at the end. */
static char next_char(struct unit_slice *s) {
    if (s->length == 0) return 0;
    char c = s->at[0];
    do {
        s->at++;
        s->length--;
    } while (is_blank(c) && s->length > 0 && is_blank(s->at[0]));
    return is_blank(c) ? ' ' : lower(c);
}

bool unit_slice_same(struct unit_slice a, struct unit_slice b) {
    a = unit_slice_trim(a);
    b = unit_slice_trim(b);
    for (;;) {
        char x = next_char(&a), y = next_char(&b);
        if (x != y) return false;
        if (x == 0) return true;
    }
}

bool unit_slice_is(struct unit_slice s, const char *name) {
    return unit_slice_same(s, (struct unit_slice){.at = name, .length = strlen(name)});
}

char *unit_slice_text(struct unit_slice s) {
    s = unit_slice_trim(s);
    char *out = lay_calloc(s.length + 1, 1);
    if (!out) return NULL;
    size_t n = 0;
    for (size_t i = 0; i < s.length; i++) {
        bool blank = is_blank(s.at[i]);
        if (blank && is_blank(s.at[i - 1])) continue; /* trimmed: the first is no blank, so i > 0 here */
        out[n++] = blank ? ' ' : s.at[i];
    }
    return out;
}

bool unit_slice_next(struct unit_slice *rest, struct unit_slice *field) {
    if (!rest->at) return false;
    const char *comma = rest->length > 0 ? memchr(rest->at, ',', rest->length) : NULL;
    *field = *rest;
    if (comma) {
        field->length = (size_t)(comma - rest->at);
        rest->length -= field->length + 1;
        rest->at = comma + 1;
    } else {
        rest->at = NULL;
    }
    *field = unit_slice_trim(*field);
    return true;
}
