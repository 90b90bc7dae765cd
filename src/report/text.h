/* The sections of the terminal report, each in a file of its own. */
#ifndef LAYSHAFT_REPORT_TEXT_H
#define LAYSHAFT_REPORT_TEXT_H

#include <layshaft/report.h>

#include "page.h"

/* What the sections share; all borrowed. */
typedef struct lay_report_view {
    const lay_unit *unit;
    const lay_run_table *table;
    const lay_diagnosis *d;
} lay_report_view;

/* Runs that have both a row and evidence. */
size_t lay_report_run_count(const lay_report_view *view);
void lay_report_text_suspects(const lay_report_view *view, const lay_page *page);
void lay_report_text_runs(const lay_report_view *view, const lay_page *page);

#endif
