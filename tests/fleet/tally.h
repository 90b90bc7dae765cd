/* Sums over a fleet and their tables in Markdown. */
#ifndef TESTS_FLEET_TALLY_H
#define TESTS_FLEET_TALLY_H

#include "conditions.h"
#include "impulses.h"
#include "score.h"

#include <stdio.h>

typedef struct fleet_counts {
    int jobs, failed;
    int faulty, part, kind, body, listed, faulty_unsure, faulty_clear, faulty_outside;
    int outside, outside_said, outside_part, outside_unsure, outside_accused;
    int healthy, accused, healthy_outside, healthy_unsure;
    int paired, part_with_tach, part_both, paired_healthy, accused_with_tach, accused_without; /* jobs judged twice */
    int faulty_parts, faulty_cleared, sound_parts, sound_cleared;
    double simulate_s, diagnose_s, recorded_s;
} fleet_counts;

#define FLEET_BINS 10

typedef struct fleet_tally {
    fleet_counts world[LAY_WORLD_COUNT], all;
    fleet_counts by_kind[LAY_FAULT_COUNT];
    int suspects[FLEET_BINS], right[FLEET_BINS];
    double probability[FLEET_BINS];
    fleet_impulses impulses;
    fleet_conditions conditions;
    fleet_speed_tally speed;
} fleet_tally;

void fleet_tally_add(fleet_tally *tally, const fleet_result *result);
void fleet_tally_print(const fleet_tally *tally, FILE *out);
void fleet_tally_free(fleet_tally *tally);
/* lines.c: one line of JSON; one line in words when the verdict is wrong, else nothing. */
void fleet_result_print(const fleet_result *result, FILE *out);
void fleet_wrong_print(const fleet_result *result, FILE *out);

#endif
