/* A path through a stretch of the recording, and what it may stand for. */
#ifndef LAYSHAFT_SPEED_PIECE_H
#define LAYSHAFT_SPEED_PIECE_H

#include "couple.h"
#include "course.h"
#include "scale.h"

typedef struct lay_piece {
    lay_shaft path; /* proportional to the speed; count 0: nothing found */
    double course;  /* nats of the path among all that were possible */
    double found;   /* nats that the path's lines hold */
    double *seen;   /* [frames] share of the lines' evidence about first_s + f * hop_s, 1 is usual */
    size_t frames;
    double first_s, hop_s;
    lay_profile profile; /* mean along the path */
    lay_scale scale;
    lay_apart apart;
} lay_piece;

void lay_piece_free(lay_piece *piece);

/* Correct the path by the lines that it gathers. */
lay_status lay_piece_correct(const lay_chapter *chapter, lay_piece *piece, lay_error *err);
/* Say what the path stands for, after a last correction by phases. `guide` may be NULL. */
lay_status lay_piece_judge(const lay_chapter *chapter, const lay_track_options *options, const lay_guide *guide,
                           lay_piece *piece, lay_error *err);

/* The speed of a known shaft, times `factor`, as the piece's path over the chapter; gaps are bridged straight. No path
 * when nothing of the chapter is known. */
lay_status lay_piece_take(const lay_chapter *chapter, const lay_shaft *known, double factor, lay_piece *piece,
                          lay_error *err);
/* Judge a path whose speed is known, so that only the gear is open. */
lay_status lay_piece_judge_known(const lay_chapter *chapter, const lay_track_options *options, lay_piece *piece,
                                 lay_error *err);

/* ---- comparing ---- */

/* Nats of the best answer; far below any when there is none. */
double lay_piece_evidence(const lay_piece *piece);
/* Good enough to go by; so good that nothing else need be tried. */
bool lay_piece_convinces(const lay_piece *piece);
bool lay_piece_decides(const lay_piece *piece);
/* Whether a explains the unit better than b or, where both do so about equally well, gathers more lines: a path that
 * follows a stranger may gather more. */
bool lay_piece_better(const lay_piece *a, const lay_piece *b);
/* Move `chosen` over `out`, which is freed. */
void lay_piece_keep(lay_piece *chosen, lay_piece *out);
/* Nats within which two paths explain the unit equally well. */
#define LAY_PIECE_CLOSE 2.5

#endif
