/* What to check at teardown, and the rule of the trade beside each check. */
#ifndef LAYSHAFT_REPORT_SHEET_H
#define LAYSHAFT_REPORT_SHEET_H

#include <layshaft/judge.h>

typedef struct lay_sheet_row {
    unsigned kinds; /* bit mask of lay_kind: faults for which it is checked */
    const char *check;
    const char *boxes; /* what may be found, separated by '|'; "_" is a number to fill in */
    const char *rule;
} lay_sheet_row;

/* The rows for a kind of fault, one after the other: NULL at the end. */
const lay_sheet_row *lay_sheet_next(lay_kind kind, const lay_sheet_row *before);

#endif
