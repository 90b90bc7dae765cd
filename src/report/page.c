#include "page.h"

#include <string.h>

#include "utf8.h"

lay_page lay_page_on(lay_text *out, bool colour, int width) {
    if (width == 0) width = 80;
    if (width < 60) width = 60;
    if (width > 200) width = 200;
    return (lay_page){out, colour, width};
}

void lay_page_blank(const lay_page *page) {
    lay_text_add(page->out, "\n");
}

/* ECMA-48 select graphic rendition. */
static const char *ink_code(lay_ink ink) {
    static const char *const codes[] = {"", "\033[1m", "\033[2m", "\033[1;31m", "\033[1;33m", "\033[1;32m"};
    _Static_assert(sizeof(codes) / sizeof(codes[0]) == LAY_INK_COUNT, "one code per ink");
    return codes[ink];
}

static void inked(const lay_page *page, lay_ink ink, const char *text, size_t bytes) {
    bool on = page->colour && ink != LAY_INK_PLAIN;
    lay_text_add(page->out, "%s%.*s%s", on ? ink_code(ink) : "", (int)bytes, text, on ? "\033[0m" : "");
}

void lay_page_line(const lay_page *page, lay_ink ink, const char *text) {
    inked(page, ink, text, strlen(text));
    lay_text_add(page->out, "\n");
}

void lay_page_heading(const lay_page *page, lay_ink ink, const char *text) {
    lay_page_wrap(page, ink, "", text);
}

/* Bytes of `s` that fit into `columns`: up to the last space that fits, else as many characters as do (at least one).
 */
static size_t line_bytes(const char *s, int columns) {
    size_t bytes = 0, at_space = 0;
    uint32_t code;
    for (size_t n; (n = lay_utf8_next(s + bytes, &code)) > 0; bytes += n) {
        if (code == ' ') at_space = bytes;
        columns -= lay_utf8_columns_of(code);
        if (columns < 0 && code != ' ' && bytes > 0) return at_space > 0 ? at_space : bytes;
        if (columns < 0 && code == ' ') return bytes;
    }
    return bytes;
}

void lay_page_wrap(const lay_page *page, lay_ink ink, const char *lead, const char *text) {
    int indent = lay_utf8_columns(lead);
    lay_text clean = {0};
    lay_text_add(&clean, "%s", "");
    lay_utf8_clean(&clean, text);
    if (clean.failed) page->out->failed = true;
    const char *rest = clean.failed ? "" : clean.text;
    size_t lead_bytes = strlen(lead);
    bool empty = rest[strspn(rest, " ")] == 0;
    while (empty && lead_bytes > 0 && lead[lead_bytes - 1] == ' ') lead_bytes--;
    lay_text_add(page->out, "%.*s", (int)lead_bytes, lead);
    for (;;) {
        while (*rest == ' ') rest++;
        size_t bytes = line_bytes(rest, page->width - indent);
        size_t shown = bytes;
        while (shown > 0 && rest[shown - 1] == ' ') shown--;
        inked(page, ink, rest, shown);
        lay_text_add(page->out, "\n");
        rest += bytes;
        while (*rest == ' ') rest++;
        if (*rest == 0) break;
        lay_text_add(page->out, "%*s", indent, "");
    }
    lay_text_free(&clean);
}

void lay_page_field(const lay_page *page, const char *label, const char *fmt, ...) {
    lay_text value = {0};
    char lead[32];
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&value, fmt, args);
    va_end(args);
    size_t n = strlen(label) < 13 ? strlen(label) : 13;
    memset(lead, ' ', 17);
    memcpy(lead + 3, label, n);
    lead[17] = 0;
    if (value.failed || value.text == NULL)
        page->out->failed = true;
    else
        lay_page_wrap(page, LAY_INK_PLAIN, lead, value.text);
    lay_text_free(&value);
}

void lay_page_sentences(const lay_page *page, lay_ink ink, const char *lead, const lay_text *sentences) {
    for (const char *at = sentences->text; at != NULL && *at;) {
        size_t n = strcspn(at, "\n");
        lay_text one = {0};
        lay_text_add(&one, "%.*s", (int)n, at);
        if (n > 0) lay_page_wrap(page, ink, lead, one.failed ? "" : one.text);
        lay_text_free(&one);
        at += n + (at[n] == '\n');
    }
}

void lay_page_list(const lay_page *page, const char *heading, const lay_strings *items) {
    if (items->count == 0) return;
    lay_page_blank(page);
    lay_page_heading(page, LAY_INK_BOLD, heading);
    for (size_t i = 0; i < items->count; i++) lay_page_wrap(page, LAY_INK_YELLOW, "   - ", items->items[i]);
}
