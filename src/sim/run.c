#include "run.h"

#include <stdlib.h>

const lay_expected *lay_sim_run_part(const lay_sim_run *run, lay_part_type type, int index) {
    for (size_t i = 0; i < run->expected_count; i++)
        if (run->expected[i].type == type && run->expected[i].index == index) return &run->expected[i];
    return NULL;
}

void lay_sim_run_free(lay_sim_run *run) {
    lay_kinematics_free(&run->kinematics);
    free(run->expected);
    if (run->lower) lay_sim_run_free(run->lower);
    free(run->lower);
    *run = (lay_sim_run){0};
}
