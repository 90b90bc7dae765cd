/* A path sought once more, by the lines that the first one found. */
#ifndef LAYSHAFT_SPEED_RETRACE_H
#define LAYSHAFT_SPEED_RETRACE_H

#include "course.h"
#include "warp.h"

/* Where speech, a blip or a stop hides the lines for a while, a path may come out of it at twice the speed: each part
 * is an alias of its own. The lines of `profile`, the mean along `path`, belong to the longer part; sought in the view
 * at every speed about the path's they lead the shorter one to it. `out` is a new path when *changed, else empty. */
lay_status lay_retrace(const lay_chapter *chapter, const lay_chirp *view, const lay_profile *profile,
                       const lay_shaft *path, lay_shaft *out, bool *changed, lay_error *err);

#endif
