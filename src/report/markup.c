#include "markup.h"

#include <string.h>

#include "utf8.h"

static const char *escape(char c) {
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

void lay_markup_text(lay_text *out, const char *s) {
    lay_text clean = {0};
    lay_utf8_clean(&clean, s != NULL ? s : "");
    for (const char *c = clean.text; c != NULL && *c; c++) {
        const char *safe = escape(*c);
        if (safe != NULL)
            lay_text_add(out, "%s", safe);
        else
            lay_text_add(out, "%c", *c);
    }
    if (clean.failed) out->failed = true;
    lay_text_free(&clean);
}

void lay_markup_format(lay_text *out, const char *fmt, ...) {
    lay_text plain = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&plain, fmt, args);
    va_end(args);
    lay_markup_text(out, plain.text);
    if (plain.failed) out->failed = true;
    lay_text_free(&plain);
}

#define LINE 57 /* bytes encoded at once */

void lay_markup_base64(lay_text *out, const unsigned char *bytes, size_t count) {
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char line[4 * LINE / 3 + 1];
    for (size_t at = 0; at < count && !out->failed; at += LINE) {
        size_t n = count - at < LINE ? count - at : LINE, used = 0;
        for (size_t i = 0; i < n; i += 3) {
            unsigned a = bytes[at + i], b = i + 1 < n ? bytes[at + i + 1] : 0, c = i + 2 < n ? bytes[at + i + 2] : 0;
            unsigned word = a << 16 | b << 8 | c;
            line[used++] = digits[word >> 18 & 63];
            line[used++] = digits[word >> 12 & 63];
            line[used++] = i + 1 < n ? digits[word >> 6 & 63] : '=';
            line[used++] = i + 2 < n ? digits[word & 63] : '=';
        }
        lay_text_add(out, "%.*s", (int)used, line);
    }
}
