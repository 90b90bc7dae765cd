/* Which lines a part's loudness is measured at, and how long a look must be to keep them apart; private to the stage.
 */
#ifndef LAYSHAFT_SOURCE_LEVEL_LINES_H
#define LAYSHAFT_SOURCE_LEVEL_LINES_H

#include <layshaft/source.h>

/* Bins either side of a line that hold all of it: the main lobe of a Hann window reaches two bins, what the speed
 * leaves open comes on top. */
size_t lay_level_reach(const lay_run_evidence *run, double order, double step);

/* Lines of every part that turns and makes tones, up to `top` orders; *turns: of a look. Caller frees *out. */
lay_status lay_level_lines_collect(const lay_run_evidence *run, double top, lay_level_line **out, size_t *count,
                                   double *turns, lay_error *err);

#endif
