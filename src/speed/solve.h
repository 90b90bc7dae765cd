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
    bool *apart; /* [apart_frames] where the gears do not turn with the path; frame f at apart_first_s + f * apart_hop_s
                  */
    size_t apart_frames;
    double apart_first_s, apart_hop_s;
    lay_profile profile; /* mean along the path, as `scale` saw it */
    double course; /* score of the path among all speeds it might have taken, nats */
} lay_piece;

/* The log's clock, found on the first chapter that can tell. */
typedef struct lay_guide {
    bool fitted; /* `fit` holds, for the chapters to come as well */
    lay_log_fit fit;
    lay_error why_not; /* the last attempt's message, or empty */
} lay_guide;

/* Pieces of a chapter, in time: one, or several where the lines are not heard for a while in between. */
typedef struct lay_pieces {
    lay_piece *items;
    size_t count, capacity;
} lay_pieces;

/* Appends the chapter's pieces. */
lay_status lay_solve_chapter(const lay_chapter *chapter, const lay_track_options *options, lay_guide *guide,
                             lay_pieces *out, lay_error *err);
void lay_piece_free(lay_piece *piece);

#endif
