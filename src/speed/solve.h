/* The speed over one chapter. */
#ifndef LAYSHAFT_SPEED_SOLVE_H
#define LAYSHAFT_SPEED_SOLVE_H

#include "scale.h"

/* A path through one chapter and what it may stand for. */
typedef struct lay_piece {
    lay_shaft path; /* proportional to the speed; count 0: nothing found */
    lay_scale scale;
    double found;          /* nats that the path's lines hold */
    double first_s, hop_s; /* of `seen` */
    double *seen;          /* [frames] share of the lines' evidence in each stretch of time, 1 is usual */
    size_t frames;
} lay_piece;

/* The log's clock, found on the first chapter that can tell. */
typedef struct lay_guide {
    bool fitted; /* `fit` holds, for the chapters to come as well */
    lay_log_fit fit;
    lay_error why_not; /* the last attempt's message, or empty */
} lay_guide;

lay_status lay_solve_chapter(const lay_chapter *chapter, const lay_track_options *options, lay_guide *guide,
                             lay_piece *out, lay_error *err);
void lay_piece_free(lay_piece *piece);

#endif
