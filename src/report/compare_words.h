/* Words that the text, the page and the pictures of a comparison share. */
#ifndef LAYSHAFT_REPORT_COMPARE_WORDS_H
#define LAYSHAFT_REPORT_COMPARE_WORDS_H

#include <layshaft/report.h>

typedef struct lay_cell {
    char text[40];
} lay_cell;

/* "BETTER", ... and "better", "cannot tell", ... */
const char *lay_words_change_headline(lay_change_verdict verdict);
const char *lay_words_change(lay_change_verdict verdict);
/* "-11.2", "below -4.0", "above 3.1", "-". */
lay_cell lay_words_change_db(const lay_change *change);
/* "-12.5 to -9.9", "below -4.0", ... */
lay_cell lay_words_interval(const lay_change *change);
/* "gear 3, drive" appended. */
void lay_words_condition(const char *gear, lay_load load, lay_text *out);
/* "mesh", "sideband +1 (third gear)" and the like, appended. */
void lay_words_line(const lay_unit *unit, const lay_part_change *part, const lay_line_change *line, lay_text *out);
/* What the levels are held against, a sentence; static. */
const char *lay_words_match(const lay_comparison *comparison, lay_quantity quantity);
/* How the change of the tone sounds, a sentence appended; nothing where none could be measured. */
void lay_words_heard(const lay_part_change *part, lay_text *out);

#endif
