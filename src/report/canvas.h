/* The few shapes of which our own drawings are made, as SVG. Lengths in pixels, numbers with a decimal point whatever
 * the locale. */
#ifndef LAYSHAFT_REPORT_CANVAS_H
#define LAYSHAFT_REPORT_CANVAS_H

#include <layshaft/base.h>

typedef struct lay_brush {
    const char *fill, *stroke; /* CSS colours; "none" */
    double width;              /* of the stroke */
    const char *dash;          /* "4 3"; NULL solid */
} lay_brush;

typedef enum lay_anchor { LAY_ANCHOR_START, LAY_ANCHOR_MIDDLE, LAY_ANCHOR_END } lay_anchor;

void lay_canvas_rect(lay_text *out, double x, double y, double width, double height, lay_brush brush);
void lay_canvas_line(lay_text *out, double x1, double y1, double x2, double y2, lay_brush brush);
void lay_canvas_circle(lay_text *out, double x, double y, double radius, lay_brush brush);
/* A triangle that points right. */
void lay_canvas_arrow(lay_text *out, double x, double y, double size, const char *fill);
void lay_canvas_text(lay_text *out, double x, double y, double size, lay_anchor anchor, bool bold, const char *fill,
                     const char *text);
/* The same over several lines of at most `columns` characters, broken at blanks, at most `lines` of them; the last one
 * is cut. `y` is the baseline of the first. */
void lay_canvas_lines(lay_text *out, double x, double y, double size, lay_anchor anchor, const char *text, int columns,
                      int lines);
/* How many lines that takes. */
int lay_canvas_line_count(const char *text, int columns, int lines);

#endif
