/* From the chapters' paths to one shaft. */
#ifndef LAYSHAFT_SPEED_JOIN_H
#define LAYSHAFT_SPEED_JOIN_H

#include "solve.h"

/* `pieces` follow one another and overlap; each path is proportional to the speed by a factor of its own, but where two
 * overlap they are of the same shaft, so that all linked pieces decide together which factor and which gear is meant.
 * Stretches in which the path's lines are not heard are left out. LAY_BAD_INPUT when no piece has a path. */
lay_status lay_join_pieces(const lay_piece *pieces, size_t count, size_t gear_count, lay_track_result *out,
                           lay_error *err);

#endif
