/* All pictures of a diagnosis. */
#ifndef LAYSHAFT_REPORT_PICTURES_H
#define LAYSHAFT_REPORT_PICTURES_H

#include "picture.h"
#include "text.h"

/* Remove pictures of an earlier report that this one does not draw anew; without `plots` all of them. */
void lay_pictures_remove_old(const lay_report_view *view, const char *folder, bool plots);
/* Have run-NN-spectrum, -map, -speed and -envelope and suspect-N-levels and -wheels drawn, as far as they are worth it.
 */
void lay_pictures_draw(const lay_report_view *view, lay_easel *easel);

#endif
