/* The speed over one chapter. */
#ifndef LAYSHAFT_SPEED_SOLVE_H
#define LAYSHAFT_SPEED_SOLVE_H

#include "piece.h"

/* Pieces in time: of a chapter there is one, or several where the lines are not heard for a while in between. */
typedef struct lay_pieces {
    lay_piece *items;
    size_t count, capacity;
} lay_pieces;

/* Appends the chapter's pieces.
 *
 * 1. Short spectra are freed of the change of speed within them (chirp.c) and scored by the unit's orders at every
 * speed (comb.c); the best path through time (course.c) is proportional to the truth more often than it is the truth.
 * 2. Along that path all lines locked to the shaft stand still, whichever order they are; they correct the path
 * (align.c, phase.c).
 * 3. On the mean spectrum along the path the unit's orders are sought once more, at every scale and in every gear:
 * there the aliases part (scale.c). */
lay_status lay_solve_chapter(const lay_chapter *chapter, const lay_track_options *options, lay_guide *guide,
                             lay_pieces *out, lay_error *err);

/* Appends `piece`, or the stretches of it in which its lines are heard: what stands between silences may be another
 * alias of the speed than the rest, so each is judged by itself. `piece` is taken over and empty afterwards.
 * (stretch.c) */
lay_status lay_add_stretches(const lay_chapter *chapter, const lay_track_options *options, const lay_guide *guide,
                             lay_piece *piece, lay_pieces *out, lay_error *err);
lay_status lay_add_piece(lay_pieces *pieces, lay_piece *piece, lay_error *err);

#endif
