/* Sums over jobs whose fault strikes: bearings and chipped teeth. */
#ifndef TESTS_FLEET_IMPULSES_H
#define TESTS_FLEET_IMPULSES_H

#include "score.h"

#include <stdio.h>

/* What the verdict is worth. Right: the first suspect is the bearing and its element, or the chipped wheel; a part that
 * nobody can tell from the true one counts as that. */
typedef enum fleet_mark {
    FLEET_RIGHT,
    FLEET_CALLED_CLEAR,
    FLEET_UNSURE,
    FLEET_CALLED_OUTSIDE,
    FLEET_WRONG_PART,
    FLEET_WRONG_KIND, /* of the right part */
    FLEET_WRONG_BODY, /* a chip, but on the other wheel */
    FLEET_MARK_COUNT
} fleet_mark;

/* Kinds of lay_fault_kind that strike. */
bool fleet_impulsive(int fault_kind);
fleet_mark fleet_impulse_mark(const fleet_result *result);

typedef struct fleet_impulse_counts {
    int jobs, part; /* part: the first suspect's part is right */
    int marks[FLEET_MARK_COUNT];
    int with_twins, twins_named;
} fleet_impulse_counts;

typedef struct fleet_impulses {
    fleet_impulse_counts by[LAY_FAULT_COUNT][LAY_WORLD_COUNT];
    int healthy[LAY_WORLD_COUNT], accused[LAY_WORLD_COUNT], accused_of_impacts[LAY_WORLD_COUNT];
} fleet_impulses;

void fleet_impulses_add(fleet_impulses *sums, const fleet_result *result);
/* Tables in Markdown; nothing when no such fault was drawn. */
void fleet_impulses_print(const fleet_impulses *sums, FILE *out);

#endif
