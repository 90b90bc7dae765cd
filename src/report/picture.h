/* Files of a report folder: pictures that are there whole or not at all. */
#ifndef LAYSHAFT_REPORT_PICTURE_H
#define LAYSHAFT_REPORT_PICTURE_H

#include <layshaft/judge.h>
/* Appends the gnuplot script of a picture that goes to `png` and `svg`. */
typedef lay_status (*lay_picture_script)(const void *subject, const char *png, const char *svg, lay_text *out,
                                         lay_error *err);
/* Draw `folder`/`stem`.png and .svg. On failure neither is left, not even of an earlier report: an old picture must not
 * pass for a new one. The files' names are added to `written` (NULL allowed). */
lay_status lay_picture_draw(const char *folder, const char *stem, lay_picture_script script, const void *subject,
                            lay_strings *written, lay_error *err);
/* Removes both pictures of an earlier report. */
void lay_picture_remove(const char *folder, const char *stem);

#endif
