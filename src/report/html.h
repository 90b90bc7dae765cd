/* The report as one HTML page: no script, nothing from outside, readable on a phone and on paper. */
#ifndef LAYSHAFT_REPORT_HTML_H
#define LAYSHAFT_REPORT_HTML_H

#include "clips.h"
#include "fields.h"

#define LAY_HTML_SUSPECTS 2 /* that can be heard */

/* What the sections share; all borrowed. */
typedef struct lay_html {
    const lay_report_view *view;
    const lay_report_options *options;
    const lay_strings *files; /* that the folder holds */
    const lay_clips *clips;   /* [LAY_HTML_SUSPECTS] */
    size_t room;              /* bytes of pictures and sound that may still go into the page */
    lay_text *out;
} lay_html;

/* The page, appended to `out`. Pictures and sound are read from the folder and put into the page, until it holds some
 * 4 MB; further ones are named with their files. */
lay_status lay_html_write(const lay_report_view *view, const lay_report_options *options, const lay_strings *files,
                          const lay_clips *clips, lay_text *out, lay_error *err);

/* Everything up to the body of a page, and after it. */
void lay_html_begin(lay_text *out, const char *title);
void lay_html_end(lay_text *out, const char *advice);

/* html_first.c: what has to be seen without scrolling. */
lay_status lay_html_first(const lay_html *h, lay_error *err);
/* html_suspects.c: the evidence for each suspect. */
void lay_html_suspects(lay_html *h);
/* html_sheet.c: what to check at teardown, with boxes to fill in. */
void lay_html_sheet(const lay_html *h);
/* html_runs.c: run by run. */
void lay_html_runs(lay_html *h);

/* html_parts.c: pieces of all sections. A paragraph, a list item, a heading: escaped. */
void lay_html_element(lay_text *out, const char *tag, const char *text);
void lay_html_list(lay_text *out, const lay_strings *items);
/* The same below a heading; nothing without items. */
void lay_html_headed_list(lay_text *out, const char *heading, const lay_strings *items);
/* Fields as a list of terms; begin and end it. */
lay_fields lay_html_fields(lay_text *out);
/* The picture `stem` where the folder holds it, else nothing. */
void lay_html_picture(lay_html *h, const char *stem, const char *alternative);
void lay_html_sound(lay_html *h, const char *file, const char *label);
/* "third pair", "bearing pilot", "a source outside that the unit file does not list". */
void lay_html_suspect_name(lay_text *out, const lay_suspect *s);

/* report.css, made part of the program when it is built. */
extern const char lay_html_style[];

#endif
