/* How well the shaft's speed was found, run by run, against the truth. */
#ifndef TESTS_FLEET_SPEED_H
#define TESTS_FLEET_SPEED_H

#include <layshaft/sim.h>
#include <layshaft/unit.h>

#include <jansson.h>
#include <stdio.h>

#define FLEET_RUNS 12

/* One run. A frame is one entry of the truth's list, 0.05 s. */
typedef struct fleet_speed {
    int given;  /* lay_speed_given; LAY_GIVEN_COUNT: tach */
    bool sweep; /* speed moves by more than a tenth */
    bool found; /* a speed at all */
    bool gear_right;
    bool failed;                   /* an error instead of an answer */
    int frames;                    /* with a true speed */
    int spoken;                    /* of these, with a speed found */
    int within_tenth, within_half; /* of these, with an error below 0.1 % and 0.5 % */
    int void_frames;               /* without a true speed */
    int cut;                       /* of these, rightly without a speed */
    int shaft_anyway;  /* of those not cut, where the input shaft itself was found within 0.5 %: clutch down */
    float median, p95; /* of |found / true - 1| over the frames spoken of; NaN: none */
    float ratio;       /* median of found / true */
    float confidence, seconds, took_s;
} fleet_speed;

/* Ask for the speed of every run of a job; out[FLEET_RUNS], *count runs. */
lay_status fleet_speed_job(const json_t *truth, const lay_unit *unit, const lay_run_table *table, fleet_speed *out,
                           int *count, lay_error *err);

/* Sums over runs. */
typedef struct fleet_speed_sum {
    int runs, failed, found, gear_right, alias, alias_sure, wrong, wrong_sure;
    long frames, spoken, within_tenth, within_half, void_frames, cut, shaft_anyway;
    float *medians, *confidences; /* of the runs found */
    size_t count, median_capacity, confidence_capacity;
    double seconds, took_s;
} fleet_speed_sum;

#define FLEET_SPEED_BINS 10

typedef struct fleet_speed_tally {
    fleet_speed_sum by_world[LAY_WORLD_COUNT], by_given[LAY_GIVEN_COUNT + 1], by_motion[2], all;
    int runs[FLEET_SPEED_BINS], near[FLEET_SPEED_BINS], no_alias[FLEET_SPEED_BINS]; /* by stated confidence */
    double stated[FLEET_SPEED_BINS];
} fleet_speed_tally;

void fleet_speed_add(fleet_speed_tally *tally, int world, const fleet_speed *speeds, int count);
void fleet_speed_print(const fleet_speed_tally *tally, FILE *out);
void fleet_speed_free(fleet_speed_tally *tally);
/* A JSON array, one object per run. */
void fleet_speed_json(const fleet_speed *speeds, int count, FILE *out);

#endif
