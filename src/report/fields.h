/* What is said of a suspect or a run, field by field, whatever it is shown on. */
#ifndef LAYSHAFT_REPORT_FIELDS_H
#define LAYSHAFT_REPORT_FIELDS_H

#include "text.h"

/* Takes one field; `text` NULL: there was not enough memory for it. */
typedef struct lay_fields {
    void (*add)(void *user, const char *label, const char *text);
    void *user;
} lay_fields;
void lay_field(const lay_fields *fields, const char *label, const char *fmt, ...) LAY_PRINTF(3, 4);
/* Fields of a page of terminal text, which must outlive them. */
lay_fields lay_page_fields(const lay_page *page);

void lay_suspect_fields(const lay_report_view *view, const lay_fields *fields, const lay_suspect *s);
void lay_stranger_fields(const lay_report_view *view, const lay_fields *fields, const lay_stranger *s);
/* The parts in that state, separated by commas, appended; bearings are called so. */
void lay_part_names(const lay_report_view *view, lay_part_state state, lay_text *out);
/* How a run was driven and how fast. */
void lay_run_fields(const lay_report_view *view, const lay_fields *fields, size_t index);
/* Who makes a line and how likely, appended. */
void lay_line_words(const lay_report_view *view, const lay_run_evidence *run, const lay_explained_line *line,
                    lay_text *out);
/* What the columns of the tables of lines mean, appended. */
void lay_lines_legend(const lay_report_view *view, lay_text *out);

#endif
