#include "canvas.h"

#include <string.h>

#include "markup.h"
#include "utf8.h"
#include "words.h"

#define PX(value) lay_words_number((value), 1).text

static void paint(lay_text *out, lay_brush b) {
    lay_text_add(out, " fill=\"%s\" stroke=\"%s\" stroke-width=\"%s\"", b.fill, b.stroke, PX(b.width));
    if (b.dash != NULL) lay_text_add(out, " stroke-dasharray=\"%s\"", b.dash);
    lay_text_add(out, "/>\n");
}

void lay_canvas_rect(lay_text *out, double x, double y, double width, double height, lay_brush brush) {
    lay_text_add(out, "<rect x=\"%s\" y=\"%s\" width=\"%s\" height=\"%s\"", PX(x), PX(y), PX(width > 0 ? width : 0),
                 PX(height > 0 ? height : 0));
    paint(out, brush);
}

void lay_canvas_line(lay_text *out, double x1, double y1, double x2, double y2, lay_brush brush) {
    lay_text_add(out, "<line x1=\"%s\" y1=\"%s\" x2=\"%s\" y2=\"%s\"", PX(x1), PX(y1), PX(x2), PX(y2));
    paint(out, brush);
}

void lay_canvas_circle(lay_text *out, double x, double y, double radius, lay_brush brush) {
    lay_text_add(out, "<circle cx=\"%s\" cy=\"%s\" r=\"%s\"", PX(x), PX(y), PX(radius));
    paint(out, brush);
}

void lay_canvas_arrow(lay_text *out, double x, double y, double size, const char *fill) {
    lay_text_add(out, "<path d=\"M%s %sL%s %sL%s %sZ\" fill=\"%s\"/>\n", PX(x), PX(y), PX(x - size), PX(y - 0.6 * size),
                 PX(x - size), PX(y + 0.6 * size), fill);
}

void lay_canvas_text(lay_text *out, double x, double y, double size, lay_anchor anchor, bool bold, const char *fill,
                     const char *text) {
    static const char *const anchors[] = {"start", "middle", "end"};
    lay_text_add(out, "<text x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\" fill=\"%s\"%s>", PX(x), PX(y),
                 PX(size), anchors[anchor], fill, bold ? " font-weight=\"bold\"" : "");
    lay_markup_text(out, text);
    lay_text_add(out, "</text>\n");
}

/* Bytes of the next line of `text` and of what follows it up to the next word. */
static size_t next_line(const char *text, int columns, size_t *skip) {
    size_t best = 0, at = 0;
    uint32_t code;
    int used = 0;
    for (size_t n; (n = lay_utf8_next(text + at, &code)) > 0; at += n) {
        if (code == ' ') best = at;
        used += lay_utf8_columns_of(code);
        if (used > columns && best > 0) break;
    }
    if (text[at] == 0 && used <= columns) best = at;
    if (best == 0) best = strcspn(text, " ");
    *skip = best + strspn(text + best, " ");
    return best;
}

int lay_canvas_line_count(const char *text, int columns, int lines) {
    int n = 0;
    size_t skip;
    for (; *text && n < lines; n++) {
        next_line(text, columns, &skip);
        text += skip;
    }
    return n;
}

void lay_canvas_lines(lay_text *out, double x, double y, double size, lay_anchor anchor, const char *text, int columns,
                      int lines) {
    for (int n = 0; *text && n < lines; n++) {
        size_t skip, length = next_line(text, columns, &skip);
        lay_text line = {0}, fitted = {0};
        bool last = n + 1 == lines;
        lay_text_add(&line, "%.*s", (int)(last ? strlen(text) : length), text);
        lay_utf8_fit(&fitted, line.failed ? "" : line.text, columns < 5 ? 5 : columns);
        lay_canvas_text(out, x, y + n * 1.15 * size, size, anchor, false, "#222222", fitted.failed ? "" : fitted.text);
        lay_text_free(&line);
        lay_text_free(&fitted);
        text += skip;
    }
}
