/* First paths through the views of a chapter. */
#ifndef LAYSHAFT_SPEED_COURSE_H
#define LAYSHAFT_SPEED_COURSE_H

#include "comb.h"

/* The log's clock, found on the first chapter that can tell. */
typedef struct lay_guide {
    bool fitted; /* `fit` holds, for the chapters to come as well */
    lay_log_fit fit;
    lay_error why_not; /* the last attempt's message, or empty */
} lay_guide;

/* How far, in log speed, a log may be off once its clock is found. */
#define LAY_GUIDE_TO 0.06

/* What the attempts at one chapter share. */
typedef struct lay_course {
    const lay_chapter *chapter;
    const lay_track_options *options;
    lay_guide *guide;
    lay_chirp views[LAY_CHIRP_VIEWS];
    lay_grid grid;
    float *score[LAY_CHIRP_VIEWS]; /* [frames * grid.count], made when first needed */
} lay_course;

/* How a path is sought. */
typedef struct lay_way {
    size_t view;
    bool steady; /* as if the speed hardly changed */
    bool near;   /* only where the speed is said to be */
} lay_way;

/* Chapter, options and guide are borrowed. Close it whatever is returned. */
lay_status lay_course_open(const lay_chapter *chapter, const lay_track_options *options, lay_guide *guide,
                           lay_course *out, lay_error *err);
void lay_course_close(lay_course *course);
/* The best path one way; *total receives its score in nats. */
lay_status lay_course_find(lay_course *course, lay_way way, lay_shaft *out, double *total, lay_error *err);

/* Step between speeds of a grid, relative, at least. */
#define LAY_COURSE_STEP 2.5e-3
/* The best path through scores of a view on a grid, at the candidates from `first` on, `count` of them. */
lay_status lay_course_trace(const lay_chapter *chapter, const lay_chirp *view, const lay_grid *grid, const float *score,
                            size_t first, size_t count, bool steady, lay_shaft *out, double *total, lay_error *err);

#endif
