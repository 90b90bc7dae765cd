/* Second thoughts: what the average turn of the wheels says of the kind of a suspect's fault; private to the stage. */
#ifndef LAYSHAFT_JUDGE_HINTS_H
#define LAYSHAFT_JUDGE_HINTS_H

#include "kinds.h"

/* Hints for suspects whose average says something else than the verdict, into *out (free items); none where it agrees,
 * or says nothing. */
lay_status lay_turn_hints_find(const lay_unit *unit, const lay_verdict *verdict, const lay_look *look,
                               lay_turn_hints *out, lay_error *err);

#endif
