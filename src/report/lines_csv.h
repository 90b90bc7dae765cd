/* All lines of all runs as a table for a spreadsheet. */
#ifndef LAYSHAFT_REPORT_LINES_CSV_H
#define LAYSHAFT_REPORT_LINES_CSV_H

#include "text.h"

/* One row a line, with headings; RFC 4180, '.' as decimal point. Empty cells are not known. */
void lay_lines_csv(const lay_report_view *view, lay_text *out);

#endif
