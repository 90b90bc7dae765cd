/* A page of terminal text: paragraphs wrapped to a width, labelled fields, lists, optional colour. */
#ifndef LAYSHAFT_REPORT_PAGE_H
#define LAYSHAFT_REPORT_PAGE_H

#include <layshaft/judge.h>

typedef enum lay_ink {
    LAY_INK_PLAIN,
    LAY_INK_BOLD,
    LAY_INK_DIM,
    LAY_INK_RED,
    LAY_INK_YELLOW,
    LAY_INK_GREEN,
    LAY_INK_COUNT
} lay_ink;

typedef struct lay_page {
    lay_text *out;
    bool colour;
    int width; /* columns */
} lay_page;

/* A page on `out`; width 0 means 80, else clamped to 60..200. */
lay_page lay_page_on(lay_text *out, bool colour, int width);
void lay_page_blank(const lay_page *page);
/* A headline on lines of its own. */
void lay_page_heading(const lay_page *page, lay_ink ink, const char *text);
/* A wrapped paragraph: `lead` stands before its first line (plain ASCII, e.g. "   - "), later lines are indented to its
 * width. The text is cleaned; words longer than a line are broken between characters. */
void lay_page_wrap(const lay_page *page, lay_ink ink, const char *lead, const char *text);
/* "   Label      text", wrapped under its own column. */
void lay_page_field(const lay_page *page, const char *label, const char *fmt, ...) LAY_PRINTF(3, 4);
/* A headline and its items, set apart from what comes before; nothing without items. */
void lay_page_list(const lay_page *page, const char *heading, const lay_strings *items);
/* Each line of `sentences` as a wrapped paragraph behind `lead`. */
void lay_page_sentences(const lay_page *page, lay_ink ink, const char *lead, const lay_text *sentences);
/* One line as it is (already within the width), inked. */
void lay_page_line(const lay_page *page, lay_ink ink, const char *text);

#endif
