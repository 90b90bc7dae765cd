/* Which symptoms are found under which condition, over a fleet. */
#ifndef TESTS_FLEET_CONDITIONS_H
#define TESTS_FLEET_CONDITIONS_H

#include "score.h"

#include <stdio.h>

#define FLEET_CONDITIONS 16

typedef struct fleet_conditions {
    struct {
        char name[16];
        int jobs;                       /* whose part was named first */
        int shown[LAY_SYMPTOM_COUNT];   /* symptom was found */
        int at_body[LAY_SYMPTOM_COUNT]; /* and named the right wheel */
    } row[FLEET_CONDITIONS];
    int count;
    int resonances, resonances_right, flanks, flanks_right;
} fleet_conditions;

void fleet_conditions_add(fleet_conditions *c, const fleet_result *result);
void fleet_conditions_print(const fleet_conditions *c, FILE *out);

#endif
