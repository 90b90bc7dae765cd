/* Pictures of a comparison, as gnuplot commands; see lay_picture_script. */
#ifndef LAYSHAFT_REPORT_COMPARE_PLOTS_H
#define LAYSHAFT_REPORT_COMPARE_PLOTS_H

#include "compare_words.h"

/* The part that is shown: it changed, and of those that did it is the loudest; else the loudest. part_count when none
 * was heard. */
size_t lay_compare_shown(const lay_comparison *comparison);

/* subject: lay_compared. LAY_BAD_INPUT where there is nothing to show. */
lay_status lay_compare_parts_script(const void *subject, const char *png, const char *svg, lay_text *out,
                                    lay_error *err);
lay_status lay_compare_speed_script(const void *subject, const char *png, const char *svg, lay_text *out,
                                    lay_error *err);
lay_status lay_compare_spectrum_script(const void *subject, const char *png, const char *svg, lay_text *out,
                                       lay_error *err);

#endif
