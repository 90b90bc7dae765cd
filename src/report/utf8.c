#include "utf8.h"

#include <string.h>

#define BROKEN 0xFFFDu

/* RFC 3629: shortest form only, no surrogates, at most U+10FFFF. */
size_t lay_utf8_next(const char *s, uint32_t *code) {
    const unsigned char *u = (const unsigned char *)s;
    static const uint32_t least[5] = {0, 0, 0x80, 0x800, 0x10000};
    size_t length = u[0] == 0           ? 0
                    : u[0] < 0x80       ? 1
                    : (u[0] >> 5) == 6  ? 2
                    : (u[0] >> 4) == 14 ? 3
                    : (u[0] >> 3) == 30 ? 4
                                        : 9;
    *code = BROKEN;
    if (length <= 1) {
        *code = u[0];
        return length;
    }
    if (length > 4) return 1;
    uint32_t value = u[0] & (0x7Fu >> length);
    for (size_t i = 1; i < length; i++) {
        if ((u[i] & 0xC0u) != 0x80u) return 1;
        value = value << 6 | (u[i] & 0x3Fu);
    }
    if (value < least[length] || value > 0x10FFFF || (value >= 0xD800 && value <= 0xDFFF)) return 1;
    *code = value;
    return length;
}

typedef struct span {
    uint32_t low, high;
} span;

static bool within(const span *spans, size_t count, uint32_t code) {
    for (size_t i = 0; i < count; i++)
        if (code >= spans[i].low && code <= spans[i].high) return true;
    return false;
}
#define WITHIN(spans, code) within(spans, sizeof(spans) / sizeof((spans)[0]), code)

/* The blocks that matter for names, after Unicode Standard Annex 11 (East Asian Width) and the
 * general categories Mn and Me; a character missing here only makes a line end early or late. */
int lay_utf8_columns_of(uint32_t code) {
    static const span none[] = {{0x0300, 0x036F}, {0x0483, 0x0489}, {0x0591, 0x05BD}, {0x0610, 0x061A},
                                {0x064B, 0x065F}, {0x0E34, 0x0E3A}, {0x0E47, 0x0E4E}, {0x1AB0, 0x1AFF},
                                {0x1DC0, 0x1DFF}, {0x200B, 0x200F}, {0x20D0, 0x20FF}, {0xFE00, 0xFE0F},
                                {0xFE20, 0xFE2F}, {0xFEFF, 0xFEFF}};
    static const span wide[] = {{0x1100, 0x115F},   {0x2E80, 0xA4CF},   {0xA960, 0xA97F},   {0xAC00, 0xD7A3},
                                {0xF900, 0xFAFF},   {0xFE30, 0xFE6F},   {0xFF00, 0xFF60},   {0xFFE0, 0xFFE6},
                                {0x1F300, 0x1F64F}, {0x1F680, 0x1F6FF}, {0x1F900, 0x1F9FF}, {0x20000, 0x3FFFD}};
    if (WITHIN(none, code)) return 0;
    return WITHIN(wide, code) ? 2 : 1;
}

int lay_utf8_columns(const char *s) {
    int columns = 0;
    uint32_t code;
    for (size_t n; (n = lay_utf8_next(s, &code)) > 0; s += n) columns += lay_utf8_columns_of(code);
    return columns;
}

void lay_utf8_clean(lay_text *out, const char *s) {
    static const span unsafe[] = {{0x00, 0x1F},     {0x7F, 0x9F},     {0x061C, 0x061C}, {0x200B, 0x200F},
                                  {0x2028, 0x202E}, {0x2060, 0x206F}, {0xFEFF, 0xFEFF}, {BROKEN, BROKEN}};
    uint32_t code;
    if (s == NULL) s = "";
    for (size_t n; (n = lay_utf8_next(s, &code)) > 0; s += n) {
        if (code == ' ' || code == 0xA0 || (code >= '\t' && code <= '\r')) {
            lay_text_add(out, " ");
        } else if (WITHIN(unsafe, code)) {
            lay_text_add(out, "\xEF\xBF\xBD");
        } else {
            lay_text_add(out, "%.*s", (int)n, s);
        }
    }
}

/* Bytes of the longest head of `s` within `columns`. */
static size_t head_within(const char *s, int columns) {
    size_t bytes = 0;
    uint32_t code;
    for (size_t n; (n = lay_utf8_next(s + bytes, &code)) > 0; bytes += n) {
        columns -= lay_utf8_columns_of(code);
        if (columns < 0) break;
    }
    return bytes;
}

/* Start of the longest tail of `s` within `columns`. */
static const char *tail_within(const char *s, int columns) {
    int all = lay_utf8_columns(s);
    uint32_t code;
    for (size_t n; all > columns && (n = lay_utf8_next(s, &code)) > 0; s += n) all -= lay_utf8_columns_of(code);
    return s;
}

void lay_utf8_fit(lay_text *out, const char *s, int columns) {
    lay_text clean = {0};
    lay_text_add(&clean, "%s", "");
    lay_utf8_clean(&clean, s);
    if (clean.failed) {
        out->failed = true;
    } else if (lay_utf8_columns(clean.text) <= columns) {
        lay_text_add(out, "%s", clean.text);
    } else {
        int head = (columns - 3 + 1) / 2;
        lay_text_add(out, "%.*s...", (int)head_within(clean.text, head), clean.text);
        lay_text_add(out, "%s", tail_within(clean.text, columns - 3 - head));
    }
    lay_text_free(&clean);
}

void lay_utf8_cell(lay_text *out, const char *s, int columns) {
    lay_text fitted = {0};
    lay_text_add(&fitted, "%s", "");
    lay_utf8_fit(&fitted, s, columns);
    if (fitted.failed)
        out->failed = true;
    else
        lay_text_add(out, "%s%*s", fitted.text, columns - lay_utf8_columns(fitted.text), "");
    lay_text_free(&fitted);
}
